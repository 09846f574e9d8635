-- What the assessment of the current facts says. All of it can be computed again from the other tables; only
-- first_verdict and withdrawn remember what was said earlier.
CREATE TABLE part (
    process VARCHAR NOT NULL,            -- MACHINE/operation/feature
    idx INTEGER NOT NULL,                -- order of machining, from 0
    serial VARCHAR NOT NULL,
    pass INTEGER NOT NULL,
    time TIMESTAMP NOT NULL,             -- UTC
    day INTEGER NOT NULL,                -- local day, since 1970-01-01
    family VARCHAR NOT NULL,
    n INTEGER NOT NULL,                  -- positions measured
    mean DOUBLE,                         -- deviation in base unit, or natural log
    within_ss DOUBLE,                    -- sum of squares within the part around its mean
    expected DOUBLE,
    expected_se DOUBLE,
    score DOUBLE,
    verdict VARCHAR NOT NULL,            -- learning | in | check | signal | aside
    spread DOUBLE[] NOT NULL,
    statistic DOUBLE[] NOT NULL,         -- one per monitor, as process_state lists them
    statistic_limit DOUBLE[] NOT NULL,
    tool VARCHAR,
    wear DOUBLE,
    aside VARCHAR
);

CREATE TABLE signal (
    process VARCHAR NOT NULL,
    monitor VARCHAR NOT NULL,
    stratum INTEGER NOT NULL,
    serial VARCHAR NOT NULL,             -- part that raised it
    pass INTEGER NOT NULL,
    status VARCHAR NOT NULL,             -- open | cleared | back | closed | withdrawn
    since TIMESTAMP NOT NULL,            -- UTC
    facts VARCHAR NOT NULL,              -- JSON
    withdrawn_by VARCHAR                 -- file whose rows removed it
);

CREATE TABLE process_state (
    process VARCHAR NOT NULL,
    fingerprint VARCHAR NOT NULL,        -- of the facts it rests on
    plan_sha VARCHAR NOT NULL,
    state VARCHAR NOT NULL               -- JSON
);

CREATE TABLE first_verdict (
    process VARCHAR NOT NULL,
    serial VARCHAR NOT NULL,
    pass INTEGER NOT NULL,
    verdict VARCHAR NOT NULL,
    known_at TIMESTAMP NOT NULL
);

-- How far the stored assessments had come: equal to what is there now, or they are computed again at opening.
CREATE TABLE assessed (
    receipts BIGINT NOT NULL,
    decisions BIGINT NOT NULL,
    plan_sha VARCHAR NOT NULL,
    method INTEGER NOT NULL              -- rises when the program judges differently
);
