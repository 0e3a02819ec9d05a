"""What can go wrong with a user's input, said in one sentence: where, what, what to do."""

from __future__ import annotations

EXIT_BAD_INPUT = 2


class FlatscanError(Exception):
    """Root of everything flatscan raises on purpose; the command line prints it and exits 2."""

    def __init__(self, where: object, what: str, advice: str) -> None:
        """Build the sentence.

        Parameters
        ----------
        where : the file, option or cell that is at fault (shown as text)
        what : what is wrong with it, no full stop
        advice : what the person should do, starting with a capital, no full stop
        """
        self.where = str(where)
        self.what = what
        self.advice = advice
        end = "" if advice.endswith("?") else "."
        super().__init__(f"{self.where}: {what}. {advice}{end}")


class InputError(FlatscanError):
    """A capture, table or side file that cannot be used."""


class SettingsError(FlatscanError):
    """An option or a settings value that cannot be used."""


class LimitSetError(FlatscanError):
    """A limit set that is missing, malformed or does not fit the measurement."""


class OutputError(FlatscanError):
    """A place to write that cannot be used."""


class MissingPackageError(FlatscanError):
    """An optional package that this job needs is not installed."""
