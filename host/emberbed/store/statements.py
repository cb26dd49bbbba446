"""The SQL of the run store: constants only, what comes from outside goes in as parameters."""

INSERT_RUN = """INSERT INTO run (started_utc, last_stored_utc, profile_name, profile_toml, plan,
    settings, session, device, engine, firmware_version, firmware_digest, host_version, seed, speed,
    simulated, linked_to, head_sha256, process_node, process_id, process_started)
    VALUES (:started_utc, :started_utc, :profile_name, :profile_toml, :plan, :settings, :session,
    :device, :engine, :firmware_version, :firmware_digest, :host_version, :seed, :speed,
    :simulated, :linked_to, :head_sha256, :node, :process_id, :started)"""
INSERT_BLOCK = "INSERT INTO block VALUES (?, ?, ?, ?, ?, ?, ?)"
INSERT_STRETCH = "INSERT INTO stretch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
INSERT_SNAPSHOT = "INSERT OR IGNORE INTO snapshot VALUES (?, ?, ?)"
INSERT_NOTE = "INSERT INTO note VALUES (?, ?, ?, ?)"
INSERT_FIRMWARE = "INSERT OR IGNORE INTO firmware VALUES (?, ?, ?)"
INSERT_TICK = """INSERT INTO tick VALUES (:run_id, :tick, :block, :record, :state, :stage,
    :setpoint_cdeg, :demand0_q15, :energy_j, :trip, :channel0_cdeg, :channel1_cdeg, :channel2_cdeg,
    :channel3_cdeg, :channel4_cdeg, :channel5_cdeg, :channel6_cdeg, :channel7_cdeg)"""
INSERT_EVENT = """INSERT INTO event SELECT :run_id, coalesce(max(number), 0) + 1, :tick, :kind,
    :sentence FROM event WHERE run_id = :run_id"""
RUN = "SELECT * FROM run WHERE id = ?"
SET_HEAD = "UPDATE run SET head_sha256 = ?, last_stored_utc = ? WHERE id = ?"
CLOSE = """UPDATE run SET state = :state, exit_code = :exit_code, ended_utc = :ended_utc,
    trip = :trip, limits_exceeded = :limits_exceeded, closing_form = :closing_form,
    head_sha256 = :head_sha256 WHERE id = :id"""
OPEN_RUNS = "SELECT * FROM run WHERE state = 'open' ORDER BY id"
SET_WRITER = """UPDATE run SET process_node = ?, process_id = ?, process_started = ?
    WHERE id = ?"""
NOTE_TRIP_COUNTS = "UPDATE run SET trip_counts = ? WHERE id = ?"
GOES_ON_AS = "SELECT max(id) FROM run WHERE linked_to = ? AND state != 'refused'"
COUNTED = """SELECT *,
    (SELECT coalesce(sum(ticks), 0) FROM block WHERE run_id = run.id) +
    (SELECT coalesce(sum(ticks), 0) FROM stretch WHERE run_id = run.id) AS ticks,
    (SELECT min(tick) FROM (SELECT min(tick) AS tick FROM tick WHERE run_id = run.id
        UNION ALL SELECT min(first_tick) FROM stretch WHERE run_id = run.id)) AS first_tick,
    (SELECT max(tick) FROM (SELECT max(tick) AS tick FROM tick WHERE run_id = run.id
        UNION ALL SELECT max(last_tick) FROM stretch WHERE run_id = run.id)) AS last_tick
    FROM run"""
EVENTS = "SELECT number, tick, kind, sentence FROM event WHERE run_id = ? ORDER BY number"
SNAPSHOTS = "SELECT tick, numbers FROM snapshot WHERE run_id = ? ORDER BY tick"
NOTES = "SELECT number, noted_utc, sentence FROM note WHERE run_id = ? ORDER BY number"
FIRMWARE = "SELECT sources FROM firmware WHERE digest = ?"
FIRMWARE_LIKE = "SELECT digest, version, sources FROM firmware WHERE substr(digest, 1, ?) = ?"
ROWS = """SELECT tick.tick, record, coalesce(rebuilt, 0) FROM tick
    LEFT JOIN block ON block.run_id = tick.run_id AND block.number = tick.block
    WHERE tick.run_id = ? AND tick.tick >= ? ORDER BY tick.tick"""
FIRST_ROW = "SELECT min(tick) FROM tick WHERE run_id = ?"
ROWS_OF_BLOCK = "SELECT record FROM tick WHERE run_id = ? AND block = ? ORDER BY tick"
BLOCKS = "SELECT * FROM block WHERE run_id = ? ORDER BY number"
STRETCHES = "SELECT * FROM stretch WHERE run_id = ? ORDER BY last_block"
STRETCH_SPANS = """SELECT last_block, first_tick, last_tick, ticks FROM stretch
    WHERE run_id = ? AND last_tick >= ? ORDER BY first_tick"""
PACKED = "SELECT packed FROM stretch WHERE run_id = ? AND last_block = ?"
PACKED_BETWEEN = (
    "SELECT packed FROM stretch WHERE run_id = ? AND last_tick >= ? AND first_tick <= ?"
)
LAST_BLOCK = "SELECT number, sha256 FROM block WHERE run_id = ? ORDER BY number DESC LIMIT 1"
LAST_STRETCH = """SELECT last_block AS number, sha256 FROM stretch WHERE run_id = ?
    ORDER BY last_block DESC LIMIT 1"""
UNPACKED_TICKS = "SELECT coalesce(sum(ticks), 0) FROM block WHERE run_id = ?"
SET_LATER = "UPDATE run SET later_sha256 = ? WHERE id = ?"
FORGET_ROWS = "DELETE FROM tick WHERE run_id = ? AND block BETWEEN ? AND ?"
FORGET_BLOCKS = "DELETE FROM block WHERE run_id = ? AND number BETWEEN ? AND ?"
