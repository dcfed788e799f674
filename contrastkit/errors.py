"""
What can go wrong, in one place.

    ContrastkitError
    ├── InvalidInputError     a number, name or option that cannot be right
    ├── UnreadablePhotoError  a file that is not a whole, plain photograph
    ├── CalibrationError      the grey reference is missing, doubtful or spoilt
    ├── TooFewSwatchesError   not enough pieces for what was asked
    ├── CatalogueError        the catalogue cannot be opened, read or written
    └── MissingPackageError   an optional package is not installed

    ContrastkitWarning
    ├── NoReferenceWarning    nothing grey to measure against: numbers are rough
    └── NothingFoundWarning   no piece found: the table is empty

Every message says what must hold, what was got, and what to do.
Warnings are for results that are still right; errors for results that would be wrong.
"""


class ContrastkitError(Exception):
    """Base of every error this package raises on purpose."""


class InvalidInputError(ContrastkitError, ValueError):
    """A number, name or option that cannot be right."""


class UnreadablePhotoError(ContrastkitError, OSError):
    """A file that is not a whole, plain photograph."""


class CalibrationError(ContrastkitError, ValueError):
    """The grey reference is missing, doubtful or spoilt."""


class TooFewSwatchesError(ContrastkitError, ValueError):
    """Not enough pieces for what was asked."""


class CatalogueError(ContrastkitError, OSError):
    """The catalogue cannot be opened, read or written."""


class MissingPackageError(ContrastkitError, ImportError):
    """An optional package is not installed."""


class ContrastkitWarning(UserWarning):
    """Base of every warning this package gives on purpose."""


class NoReferenceWarning(ContrastkitWarning):
    """Nothing grey to measure against: the numbers are rough."""


class NothingFoundWarning(ContrastkitWarning):
    """No piece was found: the table is empty."""
