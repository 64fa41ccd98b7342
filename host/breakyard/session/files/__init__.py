"""The files of a session, a module for each kind; what is written is written whole or not at all."""
