"""Who is let in: Host and Origin rules, body limits, security headers."""
