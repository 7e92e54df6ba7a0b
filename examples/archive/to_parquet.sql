-- Lines of lidprop/2 into two tables: recordings.parquet (a row a recording) and chords.parquet (a row a chord, in order).
-- DuckDB 1.2 or newer, run in the folder of the lines. Columns are stated, so that no field depends on which lines come first; fields that a question needs are added here.
CREATE VIEW lines AS
SELECT * FROM read_json('part-*.jsonl', format = 'newline_delimited', maximum_object_size = 1000000000, columns = {
    file: 'VARCHAR', error: 'VARCHAR', seconds: 'DOUBLE', tuning_hz: 'DOUBLE', key: 'VARCHAR',
    provenance: 'STRUCT(version VARCHAR, model VARCHAR, sha256 VARCHAR)',
    chords: 'STRUCT("start" DOUBLE, "end" DOUBLE, midi UTINYINT[], verdict VARCHAR,
        names STRUCT(ascii VARCHAR, label VARCHAR, root VARCHAR, score DOUBLE)[],
        readings STRUCT(kind VARCHAR, ascii VARCHAR, numeral VARCHAR, tensions VARCHAR[], score DOUBLE)[],
        place STRUCT("key" VARCHAR, numeral VARCHAR, "function" VARCHAR, stands_for VARCHAR))[]'});

COPY (SELECT file, error, seconds, tuning_hz, key, provenance.version AS version, provenance.model AS model, provenance.sha256 AS sha256,
             len(chords) AS chords FROM lines) TO 'recordings.parquet';

COPY (SELECT file, i AS number, chord."start" AS begins, chord."end" AS ends, chord.midi AS midi, chord.verdict AS verdict,
             chord.names[1].ascii AS name, chord.names[1].label AS label, chord.names[1].root AS root, chord.names[1].score AS score,
             chord.readings[1] AS reading, chord.place AS place
      FROM (SELECT file, unnest(chords) AS chord, generate_subscripts(chords, 1) AS i FROM lines WHERE error IS NULL)
      ORDER BY file, i) TO 'chords.parquet';
