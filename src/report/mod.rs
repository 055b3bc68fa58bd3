//! Renderings of a result: text, chart, JSON, NDJSON, CSV, schema.
