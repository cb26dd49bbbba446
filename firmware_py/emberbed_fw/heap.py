"""The heap between sample and drive: locked, so that no tick waits for a collection.

Large call frames would otherwise go to the heap and could start one in the middle of a tick; with
the heap locked they go to the stack. What the link leaves behind is collected by `tidy`, at the one
place in the main loop that calls it. On CPython none of them does anything.
"""

import gc

try:
    import micropython
except ImportError:
    micropython = None


def lock():
    """Let nothing allocate until `unlock`."""
    if micropython is not None:
        micropython.heap_lock()


def unlock():
    if micropython is not None:
        micropython.heap_unlock()


def tidy():
    """Collect when less than a quarter of the heap is free."""
    if micropython is not None and gc.mem_free() * 3 < gc.mem_alloc():
        gc.collect()


def make_room():
    """Collect before large pieces are taken, so that they lie beside each other and no later one
    finds only gaps."""
    if micropython is not None:
        gc.collect()


def free_bytes():
    """Return how much of the heap is free after a collection, 0 where nobody can tell."""
    if micropython is None:
        return 0
    gc.collect()
    return gc.mem_free()
