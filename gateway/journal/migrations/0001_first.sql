-- One start of the gateway. Numbers are never given twice, so that their order is that of the starts.
CREATE TABLE runs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    identity TEXT NOT NULL UNIQUE,      -- `run` of the heard objects
    started_ms INTEGER NOT NULL,        -- times are Unix milliseconds
    callsign TEXT NOT NULL,
    policy TEXT NOT NULL                -- the label of the policy that it started with
);

-- What was heard. The id holds the run and the sequence within it: rows lie in the order in which they were heard, a
-- range of ids is a stretch of time, and a frame that is handed over twice is there once.
CREATE TABLE heard (
    id INTEGER PRIMARY KEY,
    run INTEGER GENERATED ALWAYS AS (id >> 40) VIRTUAL,
    sequence INTEGER GENERATED ALWAYS AS (id & 1099511627775) VIRTUAL,
    time_ms INTEGER NOT NULL,
    source TEXT,                        -- of the innermost frame; NULL where the frame is damaged
    verdict TEXT GENERATED ALWAYS AS (CASE WHEN reason IS NULL THEN 'forward' ELSE 'keep' END) VIRTUAL,
    reason TEXT,                        -- why it was kept; NULL where it was to be forwarded
    sent_ms INTEGER,                    -- when its line was sent; NULL where it was not, as far as is known
    object TEXT NOT NULL                -- the heard object, the very JSON that was published
);
CREATE INDEX heard_by_time ON heard (time_ms);
CREATE INDEX heard_by_source ON heard (source) WHERE source IS NOT NULL;

-- The policies in force, each from the moment at which it came into force: its label leads from a verdict to its texts.
CREATE TABLE policies (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    since_ms INTEGER NOT NULL,
    label TEXT NOT NULL,
    texts TEXT NOT NULL                 -- JSON: a list of {"file", "text"}, the policy itself first
);

-- What the judge must know after a restart: one value.
CREATE TABLE judge_state (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    saved_ms INTEGER NOT NULL,
    budgets TEXT NOT NULL               -- JSON, with a version of its own
);
