"""Installs the firmware that this package ships on a board: what differs, on trial, and back to the old files when it fails."""
