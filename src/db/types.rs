//! Own SQL types, so that ids, instants and JSON are native on PostgreSQL and plain storage on SQLite.
//!
//! `Guid` = UUID / 16-byte BLOB, `Instant` = TIMESTAMPTZ / TEXT of fixed width in UTC (text order is time
//! order), `JsonDoc` = JSONB / TEXT. Rust values: the ids of [`super::ids`], [`Stamp`], [`Doc`].

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::pg::Pg;
use diesel::serialize::{self, IsNull, Output, ToSql};
use diesel::sql_types::{HasSqlType, Text};
use diesel::sqlite::Sqlite;
use serde::{Deserialize, Serialize};

use super::connection::MultiBackend;
use sql::{Guid, Instant, JsonDoc};

/// The SQL types named in `schema.rs`.
pub mod sql {
    use diesel::query_builder::QueryId;
    use diesel::sql_types::SqlType;

    /// An id: UUID on PostgreSQL, 16-byte BLOB on SQLite.
    #[derive(SqlType, QueryId, Debug, Clone, Copy)]
    #[diesel(postgres_type(oid = 2950, array_oid = 2951))]
    #[diesel(sqlite_type(name = "Binary"))]
    pub struct Guid;

    /// A moment: TIMESTAMPTZ on PostgreSQL, TEXT `YYYY-MM-DD HH:MM:SS.ffffff` (UTC) on SQLite.
    #[derive(SqlType, QueryId, Debug, Clone, Copy)]
    #[diesel(postgres_type(oid = 1184, array_oid = 1185))]
    #[diesel(sqlite_type(name = "Text"))]
    pub struct Instant;

    /// A JSON document: JSONB on PostgreSQL, TEXT on SQLite.
    #[derive(SqlType, QueryId, Debug, Clone, Copy)]
    #[diesel(postgres_type(oid = 3802, array_oid = 3807))]
    #[diesel(sqlite_type(name = "Text"))]
    pub struct JsonDoc;

    impl diesel::sql_types::SqlOrd for Guid {}
    impl diesel::sql_types::SqlOrd for Instant {}
}

macro_rules! known_to_both {
    ($($sql_type:ty),*) => { $(
        impl HasSqlType<$sql_type> for MultiBackend {
            fn metadata(lookup: &mut Self::MetadataLookup) -> Self::TypeMetadata {
                MultiBackend::lookup_sql_type::<$sql_type>(lookup)
            }
        }
    )* };
}
known_to_both!(Guid, Instant, JsonDoc);

/// Carries a value of own SQL type through the two-backend enum.
macro_rules! value_of_both {
    ($value:ty, $sql_type:ident) => {
        impl diesel::serialize::ToSql<$crate::db::types::sql::$sql_type, $crate::db::connection::MultiBackend>
            for $value
        {
            fn to_sql<'b>(
                &'b self,
                out: &mut diesel::serialize::Output<'b, '_, $crate::db::connection::MultiBackend>,
            ) -> diesel::serialize::Result {
                out.set_value(($crate::db::types::sql::$sql_type, self));
                Ok(diesel::serialize::IsNull::No)
            }
        }
        impl diesel::deserialize::FromSql<$crate::db::types::sql::$sql_type, $crate::db::connection::MultiBackend>
            for $value
        {
            fn from_sql(
                value: <$crate::db::connection::MultiBackend as diesel::backend::Backend>::RawValue<'_>,
            ) -> diesel::deserialize::Result<Self> {
                value.from_sql::<Self, $crate::db::types::sql::$sql_type>()
            }
        }
    };
}
pub(crate) use value_of_both;

const STAMP_TEXT: &str = "%Y-%m-%d %H:%M:%S%.6f";

/// A moment in UTC, kept to the microsecond (what both databases hold).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, AsExpression, FromSqlRow, Serialize, Deserialize)]
#[diesel(sql_type = Instant)]
pub struct Stamp(DateTime<Utc>);

impl Stamp {
    /// Cuts `at` to the microsecond.
    pub fn new(at: DateTime<Utc>) -> Self {
        Self(DateTime::from_timestamp_micros(at.timestamp_micros()).unwrap_or(at))
    }

    /// The moment itself.
    pub fn at(self) -> DateTime<Utc> {
        self.0
    }

    /// The canonical text: UTC, microseconds, a final `Z`. Used in the audit chain.
    pub fn canonical(self) -> String {
        self.0.format("%Y-%m-%dT%H:%M:%S%.6fZ").to_string()
    }
}

impl ToSql<Instant, Pg> for Stamp {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        ToSql::<diesel::sql_types::Timestamptz, Pg>::to_sql(&self.0, &mut out.reborrow())
    }
}
impl ToSql<Instant, Sqlite> for Stamp {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(self.0.format(STAMP_TEXT).to_string());
        Ok(IsNull::No)
    }
}
impl FromSql<Instant, Pg> for Stamp {
    fn from_sql(value: <Pg as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
        <DateTime<Utc> as FromSql<diesel::sql_types::Timestamptz, Pg>>::from_sql(value).map(Self)
    }
}
impl FromSql<Instant, Sqlite> for Stamp {
    fn from_sql(value: <Sqlite as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
        let text = <String as FromSql<Text, Sqlite>>::from_sql(value)?;
        Ok(Self(NaiveDateTime::parse_from_str(&text, STAMP_TEXT)?.and_utc()))
    }
}
value_of_both!(Stamp, Instant);

/// A JSON document as a column.
#[derive(Debug, Clone, PartialEq, AsExpression, FromSqlRow, Serialize, Deserialize)]
#[diesel(sql_type = JsonDoc)]
pub struct Doc(pub serde_json::Value);

impl Doc {
    /// Any serialisable value as a document; a value that cannot be JSON becomes an error of the database layer.
    pub fn of(value: &impl Serialize) -> Result<Self, super::StoreError> {
        serde_json::to_value(value).map(Self).map_err(|e| super::StoreError::Backend(e.to_string()))
    }

    /// The document read back into its type; a document that does not fit is a fault of the database's content.
    pub fn read<T: serde::de::DeserializeOwned>(&self) -> Result<T, super::StoreError> {
        T::deserialize(&self.0).map_err(|e| super::StoreError::Backend(format!("stored document: {e}")))
    }
}

impl ToSql<JsonDoc, Pg> for Doc {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
        ToSql::<diesel::sql_types::Jsonb, Pg>::to_sql(&self.0, out)
    }
}
impl ToSql<JsonDoc, Sqlite> for Doc {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
        out.set_value(serde_json::to_string(&self.0)?);
        Ok(IsNull::No)
    }
}
impl FromSql<JsonDoc, Pg> for Doc {
    fn from_sql(value: <Pg as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
        <serde_json::Value as FromSql<diesel::sql_types::Jsonb, Pg>>::from_sql(value).map(Self)
    }
}
impl FromSql<JsonDoc, Sqlite> for Doc {
    fn from_sql(value: <Sqlite as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
        let text = <String as FromSql<Text, Sqlite>>::from_sql(value)?;
        Ok(Self(serde_json::from_str(&text)?))
    }
}
value_of_both!(Doc, JsonDoc);
