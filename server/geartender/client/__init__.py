"""The service from a script: an httpx client with typed errors."""

from geartender.client.client import Client, RemoteServo

__all__ = ["Client", "RemoteServo"]
