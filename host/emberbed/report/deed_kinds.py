"""Which of a person's touches change what a run does, and which stored events tell of a person."""

from emberbed_fw import messages

# a mark, an answer, the fan in the cooling change nothing that a profile could hold
CHANGES = (
    messages.HOLD_HERE, messages.GO_ON, messages.EXTEND, messages.NEXT_STAGE,
    messages.LAST_PLATEAU, messages.OFFSET, messages.COOL_DOWN,
)  # fmt: skip
STANDING = (messages.HOLD_HERE, messages.LAST_PLATEAU)  # the plan's clock stands from here on

# kinds of stored events that tell of a person's deed
DEED_KINDS = ("answer", "mark", "touch")
