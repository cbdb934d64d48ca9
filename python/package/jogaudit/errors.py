"""The exceptions of jogaudit: each has a stable `code`, a `place` (file, line and column, or argument) and a `hint`."""


class JogauditError(Exception):
    """What was asked could not be done."""

    def __init__(self, message: str, *, code: str = "refused", place: str | None = None, hint: str | None = None):
        super().__init__(message)
        self.message = message
        self.code = code
        self.place = place
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\nhint: {self.hint}" if self.hint else self.message


class FileError(JogauditError):
    """A file cannot be read: not_found, no_permission, is_folder, file_too_large, not_readable."""


class RecordingError(JogauditError):
    """Nothing usable can be made of a recording; the codes are the `error_code`s of a batch, and no_such_activity."""


class PlanError(JogauditError):
    """A plan has mistakes (plan_mistake, with the line and column of the first), or not that stage (no_such_stage)."""


class TableError(JogauditError):
    """A table or a side cannot be used: no_such_column, wrong_column_type, not_a_table, not_comparable."""


class ArgumentError(JogauditError, TypeError, ValueError):
    """An argument is of the wrong type or out of range; `place` names it."""


class InternalError(JogauditError):
    """A bug of ours: please report it."""
