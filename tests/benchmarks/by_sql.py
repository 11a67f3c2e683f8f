"""The same six rules written by hand in SQL, for measuring side by side: `python by_sql.py FOLDER > findings.json`.

It does the least that gives the same findings: no provenance, no defects, no scores, no citations.
"""

from __future__ import annotations

import sys
from pathlib import Path

import duckdb

SQL = """
CREATE TEMP TABLE log AS SELECT store_id, equipment_id, cycle_id, step, target, started_at, ended_at, agent,
    solution_id, concentration_ppm FROM read_csv('{log}', header = true, columns = {{
    'store_id': 'VARCHAR', 'equipment_id': 'VARCHAR', 'cycle_id': 'VARCHAR', 'procedure': 'VARCHAR', 'step': 'VARCHAR',
    'target': 'VARCHAR', 'started_at': 'TIMESTAMP', 'ended_at': 'TIMESTAMP', 'agent': 'VARCHAR',
    'solution_id': 'VARCHAR', 'concentration_ppm': 'DOUBLE', 'temperature_c': 'DOUBLE', 'performed_by': 'VARCHAR'}});
CREATE TEMP TABLE cycles AS SELECT equipment_id, cycle_id, max(ended_at) AS completed FROM log GROUP BY ALL;
CREATE TEMP TABLE line AS SELECT 'line-' || n AS target FROM range(1, 9) t(n);
CREATE TEMP TABLE part AS SELECT unnest(['nozzle', 'manifold', 'spout', 'drip-tray', 'gasket', 'connector',
    'flavour-head', 'cover', 'valve', 'tube-end']) AS target;
CREATE TEMP TABLE flushed AS
WITH f AS (SELECT equipment_id, cycle_id, target, started_at, ended_at, max(ended_at) OVER (PARTITION BY equipment_id,
        cycle_id, target ORDER BY started_at ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS reached
    FROM log WHERE step = 'flush'),
r AS (SELECT *, sum(CASE WHEN reached IS NULL OR started_at > reached THEN 1 ELSE 0 END) OVER (PARTITION BY
        equipment_id, cycle_id, target ORDER BY started_at) AS run FROM f),
s AS (SELECT equipment_id, cycle_id, target, max(ended_at) - min(started_at) AS length FROM r
    GROUP BY equipment_id, cycle_id, target, run)
SELECT equipment_id, cycle_id, target, max(length) AS length FROM s GROUP BY ALL;
CREATE TEMP TABLE contact AS SELECT equipment_id, cycle_id, target, max(ended_at - started_at) AS length
    FROM log WHERE step = 'sanitize' GROUP BY ALL;
CREATE TEMP TABLE uncovered AS
    SELECT c.equipment_id, c.cycle_id, l.target FROM cycles c CROSS JOIN line l
        ANTI JOIN flushed f ON f.equipment_id = c.equipment_id AND f.cycle_id = c.cycle_id AND f.target = l.target
    UNION ALL SELECT c.equipment_id, c.cycle_id, p.target FROM cycles c CROSS JOIN part p
        ANTI JOIN contact f ON f.equipment_id = c.equipment_id AND f.cycle_id = c.cycle_id AND f.target = p.target
    UNION ALL SELECT c.equipment_id, c.cycle_id, '' FROM cycles c ANTI JOIN (SELECT DISTINCT equipment_id, cycle_id
        FROM log WHERE step = 'empty_tank') e ON e.equipment_id = c.equipment_id AND e.cycle_id = c.cycle_id;
CREATE TEMP TABLE solution AS SELECT equipment_id, cycle_id, coalesce(solution_id, agent) AS target,
        count(concentration_ppm) AS readings,
        count(*) FILTER (WHERE concentration_ppm < 100 OR concentration_ppm > 200) AS outside
    FROM log WHERE agent = 'chlorine' OR solution_id IS NOT NULL GROUP BY ALL;
CREATE TEMP TABLE counted AS SELECT c.*, timezone('America/Chicago', timezone('UTC', completed))::DATE AS day
    FROM cycles c ANTI JOIN uncovered u ON u.equipment_id = c.equipment_id AND u.cycle_id = c.cycle_id;
COPY (
    SELECT 'B-FLUSH' AS rule, c.equipment_id, c.cycle_id, l.target, 'out' AS status FROM cycles c CROSS JOIN line l
        LEFT JOIN flushed f ON f.equipment_id = c.equipment_id AND f.cycle_id = c.cycle_id AND f.target = l.target
        WHERE f.length IS NULL OR f.length < INTERVAL 15 MINUTE
    UNION ALL SELECT 'B-CONTACT', c.equipment_id, c.cycle_id, p.target, 'out' FROM cycles c CROSS JOIN part p
        LEFT JOIN contact f ON f.equipment_id = c.equipment_id AND f.cycle_id = c.cycle_id AND f.target = p.target
        WHERE f.length IS NULL OR f.length < INTERVAL 5 MINUTE
    UNION ALL SELECT 'B-COVERAGE', equipment_id, cycle_id, target, 'out' FROM uncovered
    UNION ALL SELECT 'B-STRENGTH', equipment_id, cycle_id, target, CASE WHEN outside > 0 THEN 'out'
        ELSE 'not_observed' END FROM solution WHERE readings = 0 OR outside > 0
    UNION ALL SELECT 'B-ORDER', s.equipment_id, s.cycle_id, s.target, 'out' FROM (SELECT equipment_id, cycle_id, target,
            min(started_at) AS started_at FROM log WHERE step = 'sanitize' GROUP BY ALL) s
        LEFT JOIN (SELECT equipment_id, cycle_id, target, min(ended_at) AS ended_at FROM log WHERE step = 'wash'
            GROUP BY ALL) w ON w.equipment_id = s.equipment_id AND w.cycle_id = s.cycle_id AND w.target = s.target
        WHERE w.ended_at IS NULL OR w.ended_at > s.started_at
    UNION ALL SELECT 'B-INTERVAL', equipment_id, cycle_id, '', 'out' FROM (SELECT *, lag(day) OVER (PARTITION BY
            equipment_id ORDER BY completed) AS before FROM counted) WHERE day - before > 30
    UNION ALL SELECT 'B-INTERVAL', equipment_id, arg_max(cycle_id, completed), 'open', 'out' FROM counted
        GROUP BY equipment_id HAVING DATE '2025-12-31' - max(day) > 30
    ORDER BY ALL
) TO '{out}' (FORMAT json, ARRAY true);
"""

if __name__ == "__main__":
    folder = Path(sys.argv[1])
    connection = duckdb.connect()
    connection.execute("SET threads = 2")
    connection.execute(SQL.format(log=folder / "log.csv", out=folder / "by-sql.json"))
