"""The field page through this computer: it talks to the logger, keeps and reads runs, and serves the page to phones.

`messages` says what goes over the WebSocket, `watchers` who hears it, `station` follows the logger, `reading` reads a
pull in another process, `door` lets people in, `files` has the page itself.
"""
