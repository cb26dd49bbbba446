"""The SQL of the run store: constants only, what comes from outside goes in as parameters."""

INSERT_RUN = """INSERT INTO run (started_utc, last_stored_utc, profile_name, profile_toml, plan,
    settings, session, device, engine, firmware_version, firmware_digest, host_version, seed, speed,
    simulated, linked_to, head_sha256, process_node, process_id, process_started)
    VALUES (:started_utc, :started_utc, :profile_name, :profile_toml, :plan, :settings, :session,
    :device, :engine, :firmware_version, :firmware_digest, :host_version, :seed, :speed,
    :simulated, :linked_to, :head_sha256, :node, :process_id, :started)"""
INSERT_BLOCK = "INSERT INTO block VALUES (?, ?, ?, ?, ?, ?)"
INSERT_TICK = """INSERT INTO tick VALUES (:run_id, :tick, :block, :record, :state, :stage,
    :setpoint_cdeg, :demand0_q15, :energy_j, :trip, :channel0_cdeg, :channel1_cdeg, :channel2_cdeg,
    :channel3_cdeg, :channel4_cdeg, :channel5_cdeg, :channel6_cdeg, :channel7_cdeg)"""
INSERT_EVENT = """INSERT INTO event SELECT :run_id, coalesce(max(number), 0) + 1, :tick, :kind,
    :sentence FROM event WHERE run_id = :run_id"""
RUN = "SELECT * FROM run WHERE id = ?"
SET_HEAD = "UPDATE run SET head_sha256 = ?, last_stored_utc = ? WHERE id = ?"
CLOSE = """UPDATE run SET state = :state, exit_code = :exit_code, ended_utc = :ended_utc,
    trip = :trip, limits_exceeded = :limits_exceeded, head_sha256 = :head_sha256 WHERE id = :id"""
NOTE_TRIP_COUNTS = "UPDATE run SET trip_counts = ? WHERE id = ?"
GOES_ON_AS = "SELECT max(id) FROM run WHERE linked_to = ? AND state != 'refused'"
COUNTED = """SELECT *,
    (SELECT coalesce(sum(ticks), 0) FROM block WHERE run_id = run.id) AS ticks,
    (SELECT min(tick) FROM tick WHERE run_id = run.id) AS first_tick,
    (SELECT max(tick) FROM tick WHERE run_id = run.id) AS last_tick FROM run"""
EVENTS = "SELECT number, tick, kind, sentence FROM event WHERE run_id = ? ORDER BY number"
RECORDS = "SELECT record FROM tick WHERE run_id = ? AND tick >= ? ORDER BY tick"
LAST_TICK = "SELECT tick, trip FROM tick WHERE run_id = ? ORDER BY tick DESC LIMIT 1"
LAST_BLOCK = "SELECT number, sha256 FROM block WHERE run_id = ? ORDER BY number DESC LIMIT 1"
GAPS = """SELECT before + 1 AS first_missing, tick - 1 AS last_missing FROM
    (SELECT tick, lag(tick) OVER (ORDER BY tick) AS before FROM tick WHERE run_id = ?)
    WHERE tick > before + 1"""
