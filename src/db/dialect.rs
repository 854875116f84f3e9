//! Whatever differs between the two databases, and only that.

use diesel::connection::{AnsiTransactionManager, SimpleConnection, TransactionManager};
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use super::connection::Conn;
use super::error::StoreError;

/// The oldest SQLite that may be used: before it, a write and a checkpoint on two connections could lose
/// committed pages (sqlite.org, release notes 3.51.3).
pub const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

/// Runs the same diesel expression natively on either database: what the two-backend enum cannot carry
/// (a batch insert, an upsert) is written once and compiled for both.
#[macro_export]
macro_rules! on_each {
    ($conn:expr, $c:ident => $run:expr) => {
        match $conn {
            $crate::db::Conn::Pg($c) => $run,
            $crate::db::Conn::Sqlite($c) => $run,
        }
    };
}

/// Begins a write. SQLite takes the write lock at once (a deferred transaction that upgrades would fail without
/// waiting). PostgreSQL takes the audit head's row lock, which every write needs anyway: writers queue there,
/// so the chain has one order.
pub fn begin_write(conn: &mut Conn) -> Result<(), StoreError> {
    match conn {
        Conn::Sqlite(c) => AnsiTransactionManager::begin_transaction_sql(c, "BEGIN IMMEDIATE")?,
        Conn::Pg(c) => {
            AnsiTransactionManager::begin_transaction_sql(c, "BEGIN ISOLATION LEVEL READ COMMITTED")?;
            if let Err(error) = c.batch_execute("SELECT seq FROM audit_head WHERE id = 1 FOR UPDATE") {
                let _ = AnsiTransactionManager::rollback_transaction(c);
                return Err(error.into());
            }
        }
    }
    Ok(())
}

/// Begins a read that sees one state of the records throughout.
pub fn begin_read(conn: &mut Conn) -> Result<(), StoreError> {
    match conn {
        Conn::Sqlite(c) => AnsiTransactionManager::begin_transaction_sql(c, "BEGIN")?,
        Conn::Pg(c) => {
            AnsiTransactionManager::begin_transaction_sql(c, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")?;
        }
    }
    Ok(())
}

/// Commits.
pub fn commit(conn: &mut Conn) -> Result<(), StoreError> {
    Ok(<Conn as Connection>::TransactionManager::commit_transaction(conn)?)
}

/// Takes everything since the beginning back. A failure here leaves nothing written either.
pub fn roll_back(conn: &mut Conn) {
    if let Err(error) = <Conn as Connection>::TransactionManager::rollback_transaction(conn) {
        tracing::warn!(%error, "rollback failed; the connection is dropped by the pool");
    }
}

#[derive(QueryableByName)]
struct OneText {
    #[diesel(sql_type = Text)]
    text: String,
}

#[derive(QueryableByName)]
struct OneNumber {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// The database's own version, as it says it.
pub fn version(conn: &mut Conn) -> Result<String, StoreError> {
    let query = match conn {
        Conn::Sqlite(_) => "SELECT sqlite_version() AS text",
        Conn::Pg(_) => "SELECT current_setting('server_version') AS text",
    };
    Ok(diesel::sql_query(query).get_result::<OneText>(conn)?.text)
}

/// Refuses an SQLite that is too old (see [`OLDEST_SQLITE`]) and a PostgreSQL before 15.
pub fn check_version(conn: &mut Conn) -> Result<(), StoreError> {
    let version = version(conn)?;
    let parts: Vec<u32> = version.split(['.', ' ']).map_while(|p| p.parse().ok()).collect();
    let part = |i: usize| parts.get(i).copied().unwrap_or(0);
    let old = match conn {
        Conn::Sqlite(_) => (part(0), part(1), part(2)) < OLDEST_SQLITE,
        Conn::Pg(_) => part(0) < 15,
    };
    if old {
        return Err(StoreError::Backend(format!("database version {version} is too old")));
    }
    Ok(())
}

/// Writes a consistent copy of a live SQLite database to `file` while it is served.
pub fn copy_to(conn: &mut Conn, file: &str) -> Result<(), StoreError> {
    match conn {
        Conn::Sqlite(c) => {
            diesel::sql_query("VACUUM INTO $1").bind::<Text, _>(file).execute(c)?;
            Ok(())
        }
        Conn::Pg(_) => Err(StoreError::Backend("a PostgreSQL database is copied with pg_dump".to_owned())),
    }
}

/// SQLite's own check of the whole file; `Ok` on PostgreSQL, which has checksums of its own.
pub fn check_whole(conn: &mut Conn) -> Result<(), StoreError> {
    if let Conn::Sqlite(c) = conn {
        let rows =
            diesel::sql_query("SELECT integrity_check AS text FROM pragma_integrity_check").load::<OneText>(c)?;
        if rows.len() != 1 || rows.first().is_none_or(|r| r.text != "ok") {
            return Err(StoreError::Backend("the database file is damaged".to_owned()));
        }
    }
    Ok(())
}

/// All tables with their columns, sorted, as `table.column`: the same on both databases when they agree.
pub fn columns(conn: &mut Conn) -> Result<Vec<String>, StoreError> {
    let query = match conn {
        Conn::Sqlite(_) => {
            "SELECT m.name || '.' || p.name AS text FROM sqlite_master m JOIN pragma_table_info(m.name) p \
             WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY 1"
        }
        Conn::Pg(_) => {
            "SELECT table_name || '.' || column_name AS text FROM information_schema.columns \
             WHERE table_schema = current_schema() ORDER BY 1"
        }
    };
    let mut names: Vec<String> = diesel::sql_query(query).load::<OneText>(conn)?.into_iter().map(|r| r.text).collect();
    names.sort();
    Ok(names)
}

/// All indexes as `table: first column`, for the test that `service_id` comes first.
pub fn first_index_columns(conn: &mut Conn) -> Result<Vec<String>, StoreError> {
    let query = match conn {
        Conn::Sqlite(_) => {
            "SELECT m.name || ' ' || i.name || ' ' || x.name AS text FROM sqlite_master m \
             JOIN pragma_index_list(m.name) i JOIN pragma_index_info(i.name) x \
             WHERE m.type = 'table' AND x.seqno = 0 AND i.origin <> 'pk' ORDER BY 1"
        }
        Conn::Pg(_) => {
            "SELECT t.relname || ' ' || i.relname || ' ' || a.attname AS text FROM pg_index x \
             JOIN pg_class t ON t.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid \
             JOIN pg_namespace n ON n.oid = t.relnamespace \
             JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = x.indkey[0] \
             WHERE n.nspname = current_schema() AND NOT x.indisprimary ORDER BY 1"
        }
    };
    Ok(diesel::sql_query(query).load::<OneText>(conn)?.into_iter().map(|r| r.text).collect())
}

/// What an SQLite connection is really set to: `journal_mode`, `synchronous`, `foreign_keys`. Empty on PostgreSQL.
pub fn sqlite_settings(conn: &mut Conn) -> Result<Vec<String>, StoreError> {
    let Conn::Sqlite(c) = conn else { return Ok(Vec::new()) };
    let mode = diesel::sql_query("SELECT journal_mode AS text FROM pragma_journal_mode").get_result::<OneText>(c)?;
    let sync = diesel::sql_query("SELECT synchronous AS number FROM pragma_synchronous").get_result::<OneNumber>(c)?;
    let keys =
        diesel::sql_query("SELECT foreign_keys AS number FROM pragma_foreign_keys").get_result::<OneNumber>(c)?;
    Ok(vec![mode.text, sync.number.to_string(), keys.number.to_string()])
}
