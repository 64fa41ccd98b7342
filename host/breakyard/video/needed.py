"""PyAV is an extra: whoever lacks it is told what to install."""

from breakyard.errors import UsageError


def need_pyav() -> None:
    """Raises: UsageError, in one line, where PyAV is not installed or cannot be loaded."""
    try:
        import av  # noqa: F401
    except ImportError as error:
        why = "" if isinstance(error, ModuleNotFoundError) else f" ({error})"
        raise UsageError(
            f"films need PyAV{why}: install it with  pip install 'breakyard[video]'  and give the command again"
        ) from None
