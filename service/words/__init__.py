"""What people read, once each: sentences for the codes that models and use cases return."""
