"""One servo as the service sees it: state, commands, guards, helm and live values."""
