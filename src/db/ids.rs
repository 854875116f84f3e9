//! Ids: one type per noun over UUIDv7, so that a stoma's id cannot be handed in for a patient's.

use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::pg::Pg;
use diesel::serialize::{self, IsNull, Output, ToSql};
use diesel::sql_types::Binary;
use diesel::sqlite::Sqlite;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::types::{sql::Guid, value_of_both};

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, AsExpression, FromSqlRow, Serialize, Deserialize,
        )]
        #[diesel(sql_type = Guid)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A fresh id; ids made later sort later.
            #[allow(clippy::new_without_default, reason = "a default id would be a new one each time")]
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
        impl std::str::FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Uuid::parse_str(text).map(Self)
            }
        }
        impl ToSql<Guid, Pg> for $name {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> serialize::Result {
                ToSql::<diesel::sql_types::Uuid, Pg>::to_sql(&self.0, out)
            }
        }
        impl ToSql<Guid, Sqlite> for $name {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Sqlite>) -> serialize::Result {
                out.set_value(self.0.as_bytes().as_slice());
                Ok(IsNull::No)
            }
        }
        impl FromSql<Guid, Pg> for $name {
            fn from_sql(value: <Pg as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
                <Uuid as FromSql<diesel::sql_types::Uuid, Pg>>::from_sql(value).map(Self)
            }
        }
        impl FromSql<Guid, Sqlite> for $name {
            fn from_sql(value: <Sqlite as Backend>::RawValue<'_>) -> deserialize::Result<Self> {
                let bytes = <Vec<u8> as FromSql<Binary, Sqlite>>::from_sql(value)?;
                Ok(Self(Uuid::from_slice(&bytes)?))
            }
        }
        value_of_both!($name, Guid);
    };
}

id!(/// The organisation that keeps the records.
    ServiceId);
id!(/// A place where the service holds clinics.
    SiteId);
id!(/// Somebody who works for the service.
    StaffId);
id!(/// A person with a stoma.
    PatientId);
id!(/// A patient's identifier row.
    IdentifierId);
id!(/// A stoma.
    StomaId);
id!(/// A planned review.
    ReviewId);
id!(/// Something that happened: a visit, a call.
    ContactId);
id!(/// A signed skin assessment.
    AssessmentId);
id!(/// An answer to a red flag.
    RedFlagId);
id!(/// A photograph.
    PhotographId);
id!(/// An answer to a calibration case.
    CalibrationId);
id!(/// An item of the catalogue.
    ItemId);
id!(/// A prescription.
    PrescriptionId);
id!(/// A line of a prescription.
    LineId);
id!(/// An event of the audit log.
    EventId);
id!(/// A file that waits to be brought in.
    UploadId);
id!(/// A form that was begun and not saved.
    DraftId);
id!(/// One opening of a form: sending it twice makes one thing.
    OnceId);
id!(/// An act that can be undone.
    UndoId);
id!(/// A kept earlier version of a record.
    VersionId);
id!(/// A protocol of a service.
    ProtocolId);
id!(/// A version of a protocol.
    ProtocolVersionId);
id!(/// A day on which a service is closed.
    ClosureId);
id!(/// A table of bank holidays.
    HolidayTableId);
id!(/// How many slots a week has.
    SlotsId);
id!(/// One run of a task.
    RunId);
