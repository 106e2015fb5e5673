// A button that copies what stands in a field; where the browser does not allow it, the field is marked to be copied by hand.
"use strict";
for (const button of document.querySelectorAll("[data-copy]")) {
  const field = document.getElementById(button.dataset.copy);
  button.hidden = false;
  button.addEventListener("click", async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(field.value);
      button.textContent = button.dataset.copied;
    } catch { button.textContent = button.dataset.byHand; }
  });
}
