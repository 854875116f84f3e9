//! SQL as somebody would write it who reaches the database without the service.

use diesel::RunQueryDsl;
use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Text};
use roundel::db::Conn;

#[derive(diesel::QueryableByName)]
struct OneText {
    #[diesel(sql_type = Text)]
    text: String,
}

#[derive(diesel::QueryableByName)]
struct OneNumber {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// Runs statements; the error is the database's own words.
pub fn run(conn: &mut Conn, sql: &str) -> Result<(), String> {
    conn.batch_execute(sql).map_err(|error| error.to_string())
}

/// Runs one statement; answers how many rows it touched.
pub fn touched(conn: &mut Conn, sql: &str) -> usize {
    diesel::sql_query(sql).execute(conn).unwrap_or_else(|error| panic!("{sql}: {error}"))
}

/// The rows of a query with one text column named `text`.
pub fn texts(conn: &mut Conn, sql: &str) -> Vec<String> {
    let rows = diesel::sql_query(sql).load::<OneText>(conn).unwrap_or_else(|error| panic!("{sql}: {error}"));
    rows.into_iter().map(|row| row.text).collect()
}

/// How many rows there are of `of`, a table or a table with a condition.
pub fn count(conn: &mut Conn, of: &str) -> i64 {
    let sql = format!("SELECT count(*) AS number FROM {of}");
    diesel::sql_query(&sql).get_result::<OneNumber>(conn).unwrap_or_else(|error| panic!("{sql}: {error}")).number
}
