"""The settings file: what its lines say, and what is wrong with them. The logger starts whatever they are.

    # a remark
    threshold_counts = 20000   # another

Who needs a value asks for it by name, with what holds if the file is silent and what is allowed. `complaints`
are sentences for people, each short enough for a log line.
"""


def text_of(data: bytes) -> str:
    """The text of a file; what is no UTF-8, as some editors write it, becomes question marks."""
    if data[:3] == b"\xef\xbb\xbf":
        data = data[3:]
    try:
        return data.decode()
    except UnicodeError:
        return "".join([chr(byte) if byte < 128 else "?" for byte in data])


class SettingsFile:
    """Parse a text; then `number` and `text`; when all have asked, `unknown` names what nobody wanted."""

    def __init__(self, text: str) -> None:
        self.complaints: list[str] = []
        self._values: dict[str, tuple[int, str]] = {}
        self._asked: set[str] = set()
        number = 0
        for line in text.split("\n"):
            number += 1
            line = line.split("#")[0].strip()
            if not line:
                continue
            name, equals, value = line.partition("=")
            name = name.strip()
            if not equals or not name:
                self._complain(number, f"'{line}' is not NAME = VALUE")
            elif name in self._values:
                self._complain(number, f"{name} is there twice")
            else:
                self._values[name] = (number, value.strip())

    def number(self, name: str, default: int, lowest: int, highest: int) -> int:
        """A whole number; `default` when the file says nothing or something that is not allowed."""
        line, value = self._value(name)
        if not line:
            return default
        try:
            number = int(value)
        except ValueError:
            self._complain(line, f"{name} is no whole number")
            return default
        if not lowest <= number <= highest:
            self._complain(line, f"{name} is not {lowest} to {highest}")
            return default
        return number

    def text(self, name: str, default: str, longest: int = 64) -> str:
        """A text; `default` when the file says nothing, or too much."""
        line, value = self._value(name)
        if not line or not value:
            return default
        if len(value.encode()) > longest:
            self._complain(line, f"{name} has over {longest} bytes")
            return default
        return value

    def unknown(self) -> None:
        """Complain of every name that nobody asked for."""
        for name in sorted(self._values):
            if name not in self._asked:
                self._complain(self._values[name][0], f"no setting is called {name}")

    def _value(self, name: str) -> tuple[int, str]:
        self._asked.add(name)
        return self._values.get(name, (0, ""))

    def _complain(self, line: int, what: str) -> None:
        self.complaints.append(f"settings.txt line {line}: {what}")
