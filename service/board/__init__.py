"""The season board: web pages that the service itself serves, and that fetch nothing from elsewhere."""
