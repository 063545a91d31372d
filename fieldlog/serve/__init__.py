"""The one server: faces of the workshop in a browser, on this machine or in the shed's network."""
