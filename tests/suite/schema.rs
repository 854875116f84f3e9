//! The tables: the two catalogues agree with each other and with `schema.rs`, and every row can be found by its service.

use std::collections::{BTreeMap, BTreeSet};

use roundel::db::dialect;

use crate::both_backends;
use crate::support::{Backend, TestDatabase, raw};

/// Made by the migration library, not by us.
const NOT_OURS: &str = "__diesel_schema_migrations";

/// Columns as `schema.rs` writes them: table, column, type, whether it may be empty.
fn written() -> Vec<(String, String, String, bool)> {
    let mut columns = Vec::new();
    let mut table = String::new();
    for line in include_str!("../../src/db/schema.rs").lines().map(str::trim) {
        if let Some((name, _)) = line.strip_suffix('{').and_then(|head| head.trim().split_once(" (")) {
            name.clone_into(&mut table);
        } else if let Some((column, kind)) = line.strip_suffix(',').and_then(|line| line.split_once(" -> ")) {
            let inner = kind.strip_prefix("Nullable<").and_then(|kind| kind.strip_suffix('>'));
            columns.push((table.clone(), column.to_owned(), inner.unwrap_or(kind).to_owned(), inner.is_some()));
        }
    }
    columns
}

/// The type under which each database keeps one of `schema.rs`.
fn kept_as(backend: Backend, kind: &str) -> &'static str {
    match (backend, kind) {
        (Backend::Postgres, "Guid") => "uuid",
        (Backend::Postgres, "Text") => "text",
        (Backend::Postgres, "Instant") => "timestamptz",
        (Backend::Postgres, "JsonDoc") => "jsonb",
        (Backend::Postgres, "Bool") => "bool",
        (Backend::Postgres, "Integer") => "int4",
        (Backend::Postgres, "BigInt") => "int8",
        (Backend::Postgres, "Date") => "date",
        (Backend::Postgres, "Binary") => "bytea",
        (Backend::Sqlite, "Guid" | "Binary") => "BLOB",
        (Backend::Sqlite, "Text" | "Instant" | "JsonDoc" | "Date") => "TEXT",
        (Backend::Sqlite, "Bool" | "Integer" | "BigInt") => "INTEGER",
        _ => panic!("{kind} has no known form on {backend:?}"),
    }
}

/// The catalogue as `table.column type may-be-empty`.
fn found(db: &TestDatabase) -> Vec<String> {
    let query = match db.backend {
        Backend::Sqlite => {
            "SELECT m.name || '.' || p.name || ' ' || p.type || ' ' || CASE p.\"notnull\" WHEN 0 THEN 'true' ELSE 'false' END \
             AS text FROM sqlite_master m JOIN pragma_table_info(m.name) p WHERE m.type = 'table'"
        }
        Backend::Postgres => {
            "SELECT table_name || '.' || column_name || ' ' || udt_name || ' ' || \
             CASE is_nullable WHEN 'YES' THEN 'true' ELSE 'false' END AS text \
             FROM information_schema.columns WHERE table_schema = current_schema()"
        }
    };
    let mut columns = raw::texts(&mut db.outside(), query);
    columns.retain(|column| !column.starts_with(NOT_OURS));
    columns.sort();
    columns
}

both_backends! {
    fn the_catalogue_is_what_schema_rs_says(db: TestDatabase) {
        let mut said: Vec<String> = written()
            .iter()
            .map(|(table, column, kind, empty)| format!("{table}.{column} {} {empty}", kept_as(db.backend, kind)))
            .collect();
        said.sort();
        assert!(said.len() > 200, "schema.rs was not understood: {said:?}");
        assert_eq!(found(&db), said);
    }

    /// So that the data of one service can be found, moved and spread without touching another's.
    fn every_row_belongs_to_a_service(db: TestDatabase) {
        // A service is one; the chain's head is one for the whole log; bank holidays are of the nations.
        let without = ["services", "audit_head", "bank_holiday_tables"];
        let mut conn = db.outside();
        let mut tables: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for column in dialect::columns(&mut conn).expect("the columns") {
            let (table, column) = column.split_once('.').expect("table.column");
            if table != NOT_OURS {
                tables.entry(table.to_owned()).or_default().insert(column.to_owned());
            }
        }
        let lacking: Vec<&String> = tables
            .iter()
            .filter(|(table, columns)| !columns.contains("service_id") && !without.contains(&table.as_str()))
            .map(|(table, _)| table)
            .collect();
        assert!(lacking.is_empty(), "without service_id: {lacking:?}");
        let may_be_empty: Vec<String> = found(&db).into_iter().filter(|c| c.contains(".service_id ")).collect();
        let empty: Vec<&String> = may_be_empty.iter().filter(|column| column.ends_with(" true")).collect();
        // Only an event of the machine itself belongs to no service.
        assert!(empty.len() == 1 && empty[0].starts_with("audit_events."), "{empty:?}");
    }

    /// Every index but a primary key begins with the service, but for these.
    fn indexes_begin_with_the_service(db: TestDatabase) {
        let others = [
            ("staff", "sign_in_name"),  // looked up before anybody knows the service
            ("audit_events", "id"),     // an event's id is unique over all services
            ("audit_subjects", "seq"),  // the verifier follows the one chain over all services
        ];
        let mut seen = BTreeSet::new();
        for index in dialect::first_index_columns(&mut db.outside()).expect("the indexes") {
            let words: Vec<&str> = index.split(' ').collect();
            let [table, name, first] = words[..] else { panic!("{index}") };
            match others.iter().position(|other| *other == (table, first)) {
                Some(at) => drop(seen.insert(at)),
                None => assert_eq!(first, "service_id", "index {name} of {table} begins with {first}"),
            }
        }
        assert_eq!(seen.len(), others.len(), "an exception is no longer needed: take it out of the list");
    }
}

/// Indexes as `table unique|plain column,column partial|whole`.
fn indexes(db: &TestDatabase) -> Vec<String> {
    let query = match db.backend {
        Backend::Sqlite => {
            "SELECT m.name || CASE i.\"unique\" WHEN 1 THEN ' unique ' ELSE ' plain ' END || \
             (SELECT group_concat(x.name, ',') FROM (SELECT name FROM pragma_index_info(i.name) ORDER BY seqno) x) || \
             CASE i.partial WHEN 1 THEN ' partial' ELSE ' whole' END AS text \
             FROM sqlite_master m JOIN pragma_index_list(m.name) i WHERE m.type = 'table' AND i.origin <> 'pk'"
        }
        Backend::Postgres => {
            "SELECT t.relname || CASE WHEN x.indisunique THEN ' unique ' ELSE ' plain ' END || \
             (SELECT string_agg(a.attname, ',' ORDER BY k.n) FROM unnest(x.indkey) WITH ORDINALITY AS k(attnum, n) \
              JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = k.attnum) || \
             CASE WHEN x.indpred IS NULL THEN ' whole' ELSE ' partial' END AS text \
             FROM pg_index x JOIN pg_class t ON t.oid = x.indrelid JOIN pg_namespace n ON n.oid = t.relnamespace \
             WHERE n.nspname = current_schema() AND NOT x.indisprimary"
        }
    };
    let mut found = raw::texts(&mut db.outside(), query);
    found.sort();
    found
}

/// Foreign keys as `table.column table`.
fn references(db: &TestDatabase) -> Vec<String> {
    let query = match db.backend {
        Backend::Sqlite => {
            "SELECT m.name || '.' || f.\"from\" || ' ' || f.\"table\" AS text FROM sqlite_master m \
             JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table'"
        }
        Backend::Postgres => {
            "SELECT c.conrelid::regclass || '.' || a.attname || ' ' || c.confrelid::regclass AS text FROM pg_constraint c \
             JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = ANY (c.conkey) WHERE c.contype = 'f'"
        }
    };
    let mut found = raw::texts(&mut db.outside(), query);
    found.sort();
    found
}

#[test]
fn both_databases_have_the_same_columns_indexes_and_references() {
    let [sqlite, postgresql] = Backend::BOTH.map(TestDatabase::new);
    let columns = |db: &TestDatabase| dialect::columns(&mut db.outside()).expect("the columns");
    assert_eq!(columns(&sqlite), columns(&postgresql));
    assert!(indexes(&sqlite).len() > 20, "{:?}", indexes(&sqlite));
    assert_eq!(indexes(&sqlite), indexes(&postgresql));
    assert!(references(&sqlite).len() > 20, "{:?}", references(&sqlite));
    assert_eq!(references(&sqlite), references(&postgresql));
}

/// The words and ranges that a column takes, from the text of the migrations: `table.column` to `IN (…)` or `BETWEEN …`.
fn limits(folder: &str) -> BTreeMap<String, String> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(folder);
    let mut steps: Vec<_> = std::fs::read_dir(folder).expect("migrations").flatten().map(|e| e.path()).collect();
    steps.sort();
    let mut limits = BTreeMap::new();
    for step in steps {
        let text = std::fs::read_to_string(step.join("up.sql")).expect("an up.sql");
        let mut table = String::new();
        for line in text.lines().map(str::trim) {
            if let Some(rest) = line.strip_prefix("CREATE TABLE ") {
                rest.split(' ').next().unwrap_or("").clone_into(&mut table);
            }
            let column = line.split(' ').next().unwrap_or("");
            for word in [" IN (", " BETWEEN ", " >= "] {
                let Some((_, limit)) = line.split_once(&format!("({column}{word}")) else { continue };
                let limit = limit.split_once(')').map_or(limit, |(limit, _)| limit);
                if limit != "0, 1" {
                    limits.insert(format!("{table}.{column}"), format!("{word}{limit}"));
                }
            }
        }
    }
    limits
}

#[test]
fn both_databases_take_the_same_words_and_ranges() {
    let sqlite = limits("sqlite");
    assert!(sqlite.len() > 20, "the migrations were not understood: {sqlite:?}");
    assert_eq!(
        sqlite.get("patients.sensitivity").map(String::as_str),
        Some(" IN ('known', 'none-known', 'not-recorded'")
    );
    assert_eq!(sqlite, limits("postgresql"));
}
