-- Files received. One row per time a file was taken in: a file that first matched no layout has a row with
-- status 'waiting' and, once a plan knows it, a second one whose known_at is that of the plan.
CREATE TABLE receipt (
    id BIGINT NOT NULL,
    sha256 VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    bytes BIGINT NOT NULL,
    known_at TIMESTAMP NOT NULL,
    layout VARCHAR,
    role VARCHAR,
    status VARCHAR NOT NULL,             -- taken | waiting | refused
    lines BIGINT NOT NULL,               -- = stored + partly + known + set_aside + blank
    stored BIGINT NOT NULL,
    partly BIGINT NOT NULL,
    known BIGINT NOT NULL,
    set_aside BIGINT NOT NULL,
    blank BIGINT NOT NULL,               -- blank, header and preamble lines
    cells BIGINT NOT NULL,               -- = cells_stored + cells_known + cells_set_aside + cells_blank
    cells_stored BIGINT NOT NULL,
    cells_known BIGINT NOT NULL,
    cells_set_aside BIGINT NOT NULL,
    cells_blank BIGINT NOT NULL,
    reason VARCHAR,                      -- kind, for a file that waits or was refused
    message VARCHAR,                     -- the same as a sentence, with the remedy
    plan_sha VARCHAR NOT NULL,
    warnings VARCHAR NOT NULL,           -- JSON: {kind: count}
    released_by BIGINT                   -- receipt that took a waiting file in at last
);

CREATE TABLE reading (
    id BIGINT NOT NULL,                  -- rising in order of receipt, line and column
    receipt BIGINT NOT NULL,
    line BIGINT NOT NULL,
    col VARCHAR NOT NULL,
    role VARCHAR NOT NULL,               -- readings | audit | checks | jobs
    seq BIGINT,
    time TIMESTAMP NOT NULL,             -- UTC
    serial VARCHAR,                      -- null for checks of a gauge
    feature VARCHAR NOT NULL,
    position VARCHAR NOT NULL,           -- main=1;direction=V in the order of the feature's axes; '' when it has none
    value DOUBLE NOT NULL CHECK (isfinite(value)),   -- base unit
    raw VARCHAR NOT NULL,
    raw_unit VARCHAR NOT NULL,
    set_size DOUBLE,                     -- base unit
    gauge VARCHAR,
    operator VARCHAR,
    tool VARCHAR,
    family VARCHAR,
    machine VARCHAR,
    operation VARCHAR,
    stage VARCHAR,
    pass INTEGER,
    part_temp DOUBLE,
    gauge_temp DOUBLE,
    master VARCHAR,
    note VARCHAR
);

CREATE TABLE job (
    id BIGINT NOT NULL,
    receipt BIGINT NOT NULL,
    line BIGINT NOT NULL,
    serial VARCHAR NOT NULL,
    family VARCHAR,
    operation VARCHAR,
    machine VARCHAR,
    tool VARCHAR,
    pass INTEGER,
    started TIMESTAMP,
    ended TIMESTAMP,
    note VARCHAR
);

CREATE TABLE event (
    id BIGINT NOT NULL,
    receipt BIGINT,                      -- null for an event a person noted
    line BIGINT,
    journal_line BIGINT,                 -- null for an event from a file
    time TIMESTAMP NOT NULL,
    target VARCHAR NOT NULL,             -- machine or gauge
    kind VARCHAR NOT NULL,
    tool VARCHAR,
    note VARCHAR,
    cost DOUBLE,
    down_hours DOUBLE,
    who VARCHAR,
    verified BOOLEAN
);

CREATE TABLE set_aside (
    id BIGINT NOT NULL,
    receipt BIGINT NOT NULL,
    line BIGINT NOT NULL,
    col VARCHAR,                         -- null: the whole line
    text VARCHAR NOT NULL,               -- the line as it stands in the file
    kind VARCHAR NOT NULL,
    reason VARCHAR NOT NULL,
    remedy VARCHAR NOT NULL
);

-- Mirror of the journal, which is the truth.
CREATE TABLE decision (
    line BIGINT NOT NULL,
    known_at TIMESTAMP NOT NULL,
    who VARCHAR NOT NULL,
    verified BOOLEAN NOT NULL,
    kind VARCHAR NOT NULL,
    body VARCHAR NOT NULL                -- JSON
);
