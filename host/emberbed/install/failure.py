"""Why an installation cannot begin or go on."""


class InstallError(Exception):
    """One sentence for a person: the place, what is wrong, the mend."""
