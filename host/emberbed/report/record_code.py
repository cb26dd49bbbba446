"""The short code of a record: the beginning of its fingerprint, to be compared by eye."""

CODE_CHARACTERS = 12  # hexadecimal: 48 bits, so that no two runs of a shop share one by chance
_GROUP = 4


def short_code(head_sha256: str) -> str:
    """Return the code of a record by the head of its chain, such as 0f4c-4416-e114."""
    code = head_sha256[:CODE_CHARACTERS]
    return "-".join(code[at : at + _GROUP] for at in range(0, len(code), _GROUP))
