"""The HTTP interface: one router per resource, the live socket, problems."""
