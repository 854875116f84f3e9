//! The migrations, embedded, the same names for both databases.
//!
//! A released migration is never edited; a new one is added beside it in both folders.

use diesel::connection::{AnsiTransactionManager, TransactionManager};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use super::connection::Conn;
use super::error::StoreError;

const SQLITE: EmbeddedMigrations = embed_migrations!("migrations/sqlite");
const POSTGRESQL: EmbeddedMigrations = embed_migrations!("migrations/postgresql");

fn failed(error: impl std::fmt::Display) -> StoreError {
    StoreError::Backend(format!("migration: {error}"))
}

/// Runs what is pending; answers the names of what ran.
pub fn up(conn: &mut Conn) -> Result<Vec<String>, StoreError> {
    let ran = match conn {
        Conn::Pg(c) => {
            // Two instances that start together must not both migrate.
            diesel::connection::SimpleConnection::batch_execute(c, "SELECT pg_advisory_lock(7203)").map_err(failed)?;
            let ran = c.run_pending_migrations(POSTGRESQL).map(|v| v.iter().map(ToString::to_string).collect());
            diesel::connection::SimpleConnection::batch_execute(c, "SELECT pg_advisory_unlock(7203)")
                .map_err(failed)?;
            ran.map_err(failed)?
        }
        Conn::Sqlite(c) => {
            // The write lock first, then the look at what has run: two instances may start together.
            AnsiTransactionManager::begin_transaction_sql(c, "BEGIN IMMEDIATE").map_err(failed)?;
            let ran = c.run_pending_migrations(SQLITE).map(|v| v.iter().map(ToString::to_string).collect());
            if ran.is_ok() {
                AnsiTransactionManager::commit_transaction(c).map_err(failed)?;
            } else {
                AnsiTransactionManager::rollback_transaction(c).map_err(failed)?;
            }
            ran.map_err(failed)?
        }
    };
    Ok(ran)
}

/// Takes every migration back, youngest first. For tests: it empties the database.
pub fn down(conn: &mut Conn) -> Result<(), StoreError> {
    match conn {
        Conn::Pg(c) => c.revert_all_migrations(POSTGRESQL).map(drop).map_err(failed),
        Conn::Sqlite(c) => c.revert_all_migrations(SQLITE).map(drop).map_err(failed),
    }
}

/// True when a migration has not run yet.
pub fn pending(conn: &mut Conn) -> Result<bool, StoreError> {
    match conn {
        Conn::Pg(c) => c.has_pending_migration(POSTGRESQL).map_err(failed),
        Conn::Sqlite(c) => c.has_pending_migration(SQLITE).map_err(failed),
    }
}
