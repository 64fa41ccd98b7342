"""The command `breakyard`: thin; it reads files, calls the stages and shows what they return."""
