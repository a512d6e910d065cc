-- Which start of the computer a run belongs to, and where the computer's clock stood when the run's elapsed time began:
-- that tells how long ago it was, whatever the wall clock was set to meanwhile. NULL where it is not known.
ALTER TABLE runs ADD COLUMN boot TEXT;
ALTER TABLE runs ADD COLUMN boot_ms INTEGER;

-- What the gateway remembers over a restart, by name, besides what stands in `heard`.
CREATE TABLE remembered (
    name TEXT PRIMARY KEY,
    version INTEGER NOT NULL,           -- of the form of its pieces
    run INTEGER NOT NULL,               -- elapsed times in the pieces are of this run
    until INTEGER NOT NULL              -- what was heard after this id is to be heard again
) WITHOUT ROWID;

CREATE TABLE pieces (
    name TEXT NOT NULL,
    number INTEGER NOT NULL,
    value TEXT NOT NULL,                -- JSON: an object
    PRIMARY KEY (name, number)
) WITHOUT ROWID;

-- With what of it the judge of a run began: a replay begins there, too.
CREATE TABLE beginnings (
    run INTEGER NOT NULL,
    number INTEGER NOT NULL,
    value TEXT NOT NULL,
    PRIMARY KEY (run, number)
) WITHOUT ROWID;

-- What one value held before.
CREATE TEMPORARY TABLE former AS
    SELECT json_extract(budgets, '$.budgets') AS budgets, json_extract(budgets, '$.hearing') AS hearing,
        json_extract(budgets, '$.telemetry') AS telemetry
    FROM judge_state WHERE json_valid(budgets);
INSERT INTO pieces SELECT 'judge', 0, json_object('budgets', json(budgets)) FROM former WHERE budgets IS NOT NULL;
INSERT INTO pieces SELECT 'hearing', 0, hearing FROM former WHERE hearing IS NOT NULL;
INSERT INTO pieces SELECT 'telemetry', 0, telemetry FROM former WHERE telemetry IS NOT NULL;
INSERT INTO remembered
    SELECT name, 1, (SELECT coalesce(max(id), 0) FROM runs), (SELECT coalesce(max(id), 0) FROM heard) FROM pieces;
DROP TABLE former;
DROP TABLE judge_state;
