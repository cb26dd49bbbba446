"""The machine's whole memory as one flat list of ints, to go on from later: replay, campaigns.

Each part names what it remembers in its STATE; nothing else differs between two machines with the
same settings and plan. Allocates: between ticks only. A controller takes the numbers one by one:
its heap may have no piece for a list of them all.
"""


def _parts(machine):
    parts = [
        machine, machine.readings, machine.button, machine.guard, machine.guard.lift_watch,
        machine.guard.doubted, machine.life, machine.touches, machine.signals,
    ]
    doubts = machine.guard.doubts
    parts += [doubts, doubts.balance, doubts.balance.model, doubts.pairs, doubts.jumps]
    parts.append(doubts.stuck)
    if machine.guard.memory is not None:
        parts.append(machine.guard.memory)
    if machine.sequencer is not None:
        parts.append(machine.sequencer)
        parts.append(machine.sequencer.lead)
        parts.append(machine.feedforward)
    for pid in machine.pids or ():
        parts.append(pid)
        parts.append(pid.slope)
    for zone in sorted(machine.needs or ()):
        parts.append(machine.needs[zone])
        parts.append(machine.needs[zone].early)
    return parts + machine.powers + machine.soaks


def numbers_of(machine):
    """Yield everything the machine remembers between two ticks."""
    for part in _parts(machine):
        for name in part.STATE:
            remembered = getattr(part, name)
            if isinstance(remembered, list):
                yield from remembered
            else:
                yield remembered


def take_snapshot(machine):
    """Return everything the machine remembers between two ticks as one list."""
    return list(numbers_of(machine))


def restore_snapshot(machine, numbers):
    """Put a snapshot into a machine with the same settings and the same plan taken.

    Raises ValueError, and changes nothing, when the snapshot is of another shape.
    """
    if len(numbers) != len(take_snapshot(machine)):
        raise ValueError("a snapshot of another firmware or plan")
    at = 0
    for part in _parts(machine):
        for name in part.STATE:
            remembered = getattr(part, name)
            if isinstance(remembered, list):
                remembered[:] = numbers[at : at + len(remembered)]
                at += len(remembered)
            else:
                setattr(part, name, numbers[at])
                at += 1
