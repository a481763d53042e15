"""The service from a script: an httpx client with typed errors."""
