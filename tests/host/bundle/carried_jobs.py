"""Jobs in bundles: a bench with a whole job, and its bundle."""

from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from emberbed.bundle.take_in_job import take_in_job
from emberbed.bundle.write import write_bundle
from emberbed.bundle.write_job import job_for

GPS_IFD, LATITUDE, MAKER = 0x8825, 2, 0x010F  # CIPA DC-008 (Exif 2.32) tables 3 and 4, from memory


def packed(store, path, run_id=1):
    write_bundle(store, store.run(run_id), path, job_for(store, run_id))
    return path


def open_in(store, path):
    found = read_bundle(path)
    run_id, _was_there = take_in(store, found, path)
    return take_in_job(store.database, run_id, found.job)
