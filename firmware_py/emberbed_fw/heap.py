"""The heap between sample and drive: locked, so that no tick waits for a collection.

Large call frames would otherwise go to the heap and could start one in the middle of a tick; with
the heap locked they go to the stack. What the link leaves behind is collected by `tidy`, at the one
place in the main loop that calls it. On CPython all three do nothing.
"""

import gc

try:
    from micropython import heap_lock as lock
    from micropython import heap_unlock as unlock

    def tidy():
        """Collect when less than a quarter of the heap is free."""
        if gc.mem_free() * 3 < gc.mem_alloc():
            gc.collect()

except ImportError:

    def lock():
        pass

    def unlock():
        pass

    def tidy():
        pass
