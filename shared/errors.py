"""The one error a user sees: a line that names the place and what to do."""


class BadInput(Exception):
    """Input that cannot be used: file, host, terminal or option.

    `where` names the file and line, the option or the address; `what` is what is
    wrong there; `do` is what to do about it. `str()` gives them as one line.
    """

    def __init__(self, where: str, what: str, do: str) -> None:
        self.where = where
        self.what = what
        self.do = do
        super().__init__(f"{where}: {what}; {do}")
