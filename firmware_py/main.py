"""The first and only thing that a controller board runs by itself."""

try:
    from emberbed_start import start  # put there by `emberbed device install`
except ImportError:
    from emberbed_fw.start_up import start  # sources in /lib, put there by hand

start()
