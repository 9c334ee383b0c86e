"""Opening a link of the kind that an address names."""

from client.address import Address
from client.form import Profile
from client.streams import StreamTransport
from client.transport import Transport


async def connect(address: Address, profile: Profile) -> Transport:
    """Open a link: WebSocket, TCP or Unix socket."""
    if address.scheme in ("ws", "wss"):
        # Imported late: it takes longer than all the rest.
        from client.websocket import WebSocketTransport

        return await WebSocketTransport.open(address, profile)
    return await StreamTransport.open(address, profile)
