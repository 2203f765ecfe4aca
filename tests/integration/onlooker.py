"""One who looks at a dashboard through Streamlit's own socket, as a browser's page does, without a browser."""

from __future__ import annotations

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect


def look(port: int, timeout_s: float = 30.0) -> int:
    """Run the first page once and return how many pieces of it came; OSError or TimeoutError when it cannot be."""
    asked = BackMsg()
    asked.rerun_script.query_string = ""
    pieces = 0
    with connect(f"ws://127.0.0.1:{port}/_stcore/stream", open_timeout=timeout_s, max_size=None) as socket:
        socket.send(asked.SerializeToString())
        while True:
            said = ForwardMsg()
            said.ParseFromString(socket.recv(timeout_s))
            if said.WhichOneof("type") == "delta":
                pieces += 1
            elif said.WhichOneof("type") == "script_finished":
                return pieces
