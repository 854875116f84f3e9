//! A service's own protocols and their versions: all queries. The list to choose from is made in `offered`.
//!
//! A draft is changed until it is put into force from a date; then it is never changed again (the database refuses
//! it), and the next draft is a copy of it. On each day the version counts that came into force last.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::NaiveDate;
use diesel::prelude::*;

use super::rules::{Protocol, shipped, shipped_by_id};
use crate::db::connection::MultiBackend;
use crate::db::ids::{ProtocolId, ProtocolVersionId, ServiceId, StaffId};
use crate::db::schema::{protocol_versions, protocols};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::json_input::FieldErrors;

/// A protocol of the service's own.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = protocols)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Own {
    /// Id.
    pub id: ProtocolId,
    /// Service.
    pub service_id: ServiceId,
    /// What stomas keep; never that of a shipped one.
    pub code: String,
    /// What it was copied from, in words.
    pub copied_from: String,
    /// Who made it.
    pub created_by: Option<StaffId>,
    /// When.
    pub created_at: Stamp,
}

/// A version of it.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = protocol_versions)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Version {
    /// Id.
    pub id: ProtocolVersionId,
    /// Service.
    pub service_id: ServiceId,
    /// Of which.
    pub protocol_id: ProtocolId,
    /// From 1.
    pub number: i32,
    /// The protocol, as [`Protocol::to_json`] writes it.
    pub document: Doc,
    /// First day on which it counts; none: a draft.
    pub in_force_from: Option<NaiveDate>,
    /// Who put it into force.
    pub put_in_force_by: Option<StaffId>,
    /// When.
    pub put_in_force_at: Option<Stamp>,
    /// Who changed the draft last.
    pub changed_by: Option<StaffId>,
    /// Row version, for forms.
    pub version: i32,
    /// Made.
    pub created_at: Stamp,
    /// Last changed.
    pub updated_at: Stamp,
}

impl Version {
    /// The protocol that it holds.
    pub fn protocol(&self) -> Result<Protocol, StoreError> {
        let mut errors = FieldErrors::default();
        let read = Protocol::from_json_kept(&self.document.0, "", &mut errors);
        errors.into_result(read).map_err(|errors| {
            let first = errors.errors.first().map_or_else(String::new, |e| format!("{}: {}", e.field, e.message));
            StoreError::Backend(format!("stored protocol cannot be read: {first}"))
        })
    }

    /// Still a draft.
    pub fn is_draft(&self) -> bool {
        self.in_force_from.is_none()
    }
}

/// Own protocols of a service, by code.
pub fn own(conn: &mut Conn, service: ServiceId) -> Result<Vec<Own>, StoreError> {
    Ok(protocols::table
        .filter(protocols::service_id.eq(service))
        .order(protocols::code)
        .select(Own::as_select())
        .load(conn)?)
}

/// One of them.
pub fn find(conn: &mut Conn, service: ServiceId, code: &str) -> Result<Own, StoreError> {
    Ok(protocols::table
        .filter(protocols::service_id.eq(service))
        .filter(protocols::code.eq(code))
        .select(Own::as_select())
        .first(conn)?)
}

/// Its versions, newest first.
pub fn versions(conn: &mut Conn, service: ServiceId, of: ProtocolId) -> Result<Vec<Version>, StoreError> {
    Ok(protocol_versions::table
        .filter(protocol_versions::service_id.eq(service))
        .filter(protocol_versions::protocol_id.eq(of))
        .order(protocol_versions::number.desc())
        .select(Version::as_select())
        .load(conn)?)
}

/// The version that counts on a day, of versions in any order.
pub fn counting(versions: &[Version], on: NaiveDate) -> Option<&Version> {
    let begun = versions.iter().filter(|v| v.in_force_from.is_some_and(|from| from <= on));
    begun.max_by_key(|v| (v.in_force_from, v.number))
}

/// Own protocols by code, each in the version that counts on a day; before the first one's day that first one, so that a
/// stoma may follow a protocol that begins next week.
pub fn in_force(
    conn: &mut Conn,
    service: ServiceId,
    on: NaiveDate,
) -> Result<HashMap<String, Arc<Protocol>>, StoreError> {
    let rows: Vec<(String, Version)> = protocol_versions::table
        .inner_join(protocols::table.on(protocols::id.eq(protocol_versions::protocol_id)))
        .filter(protocol_versions::service_id.eq(service))
        .filter(protocol_versions::in_force_from.is_not_null())
        .select((protocols::code, Version::as_select()))
        .load(conn)?;
    let mut of_code: HashMap<String, Vec<Version>> = HashMap::new();
    for (code, version) in rows {
        of_code.entry(code).or_default().push(version);
    }
    let mut found = HashMap::with_capacity(of_code.len());
    for (code, versions) in of_code {
        let first = || versions.iter().min_by_key(|v| (v.in_force_from, v.number));
        if let Some(version) = counting(&versions, on).or_else(first) {
            found.insert(code, Arc::new(version.protocol()?));
        }
    }
    Ok(found)
}

/// A code for a title that no protocol of the service and none shipped has.
pub fn free_code(conn: &mut Conn, service: ServiceId, title: &str) -> Result<String, StoreError> {
    let mut code = String::new();
    for letter in title.to_lowercase().chars() {
        if letter.is_ascii_alphanumeric() {
            code.push(letter);
        } else if !code.is_empty() && !code.ends_with('-') {
            code.push('-');
        }
    }
    let code: String = code.trim_matches('-').chars().take(60).collect();
    let code = if code.is_empty() { "protocol".to_owned() } else { code.trim_matches('-').to_owned() };
    let taken: Vec<String> =
        protocols::table.filter(protocols::service_id.eq(service)).select(protocols::code).load(conn)?;
    let free = |c: &String| !taken.contains(c) && shipped_by_id(c).is_none();
    let numbered = (2..=taken.len() + shipped().len() + 2).map(|n| format!("{code}-{n}"));
    std::iter::once(code.clone()).chain(numbered).find(free).ok_or(StoreError::NotFound)
}

/// Makes a protocol of the service's own with a first draft.
pub fn create(tx: &mut Tx<'_>, protocol: &Protocol, copied_from: &str) -> Result<Own, StoreError> {
    let own = Own {
        id: ProtocolId::new(),
        service_id: tx.service()?,
        code: protocol.id.clone(),
        copied_from: copied_from.to_owned(),
        created_by: tx.actor().staff_id,
        created_at: tx.now(),
    };
    diesel::insert_into(protocols::table).values(&own).execute(tx.conn())?;
    draft(tx, &own, protocol, 1)?;
    Ok(own)
}

/// Opens the next draft as this protocol.
pub fn draft(tx: &mut Tx<'_>, own: &Own, protocol: &Protocol, number: i32) -> Result<Version, StoreError> {
    let now = tx.now();
    let version = Version {
        id: ProtocolVersionId::new(),
        service_id: own.service_id,
        protocol_id: own.id,
        number,
        document: document(protocol, own, number),
        in_force_from: None,
        put_in_force_by: None,
        put_in_force_at: None,
        changed_by: tx.actor().staff_id,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    diesel::insert_into(protocol_versions::table).values(&version).execute(tx.conn())?;
    Ok(version)
}

/// A kept protocol carries the code and number of its row, whatever its text says.
fn document(protocol: &Protocol, own: &Own, number: i32) -> Doc {
    let version = u32::try_from(number).unwrap_or(1);
    Doc(Protocol { id: own.code.clone(), version, ..protocol.clone() }.to_json())
}

/// Changes a draft; `shown` is the row version that the form was made from.
pub fn save(
    tx: &mut Tx<'_>,
    own: &Own,
    draft: ProtocolVersionId,
    shown: i32,
    protocol: &Protocol,
) -> Result<(), StoreError> {
    let (now, by) = (tx.now(), tx.actor().staff_id);
    let number: i32 = protocol_versions::table
        .find(draft)
        .filter(protocol_versions::service_id.eq(own.service_id))
        .filter(protocol_versions::protocol_id.eq(own.id))
        .filter(protocol_versions::in_force_from.is_null())
        .select(protocol_versions::number)
        .first(tx.conn())?;
    let target = protocol_versions::table.find(draft).filter(protocol_versions::version.eq(shown));
    let changed = diesel::update(target)
        .set((
            protocol_versions::document.eq(document(protocol, own, number)),
            protocol_versions::changed_by.eq(by),
            protocol_versions::version.eq(shown + 1),
            protocol_versions::updated_at.eq(now),
        ))
        .execute(tx.conn())?;
    if changed == 1 { Ok(()) } else { Err(StoreError::Stale) }
}

/// Puts a draft into force from a day.
pub fn put_in_force(tx: &mut Tx<'_>, draft: ProtocolVersionId, shown: i32, from: NaiveDate) -> Result<(), StoreError> {
    let (service, now, by) = (tx.service()?, tx.now(), tx.actor().staff_id);
    let target = protocol_versions::table
        .find(draft)
        .filter(protocol_versions::service_id.eq(service))
        .filter(protocol_versions::version.eq(shown))
        .filter(protocol_versions::in_force_from.is_null());
    let changed = diesel::update(target)
        .set((
            protocol_versions::in_force_from.eq(Some(from)),
            protocol_versions::put_in_force_by.eq(by),
            protocol_versions::put_in_force_at.eq(Some(now)),
            protocol_versions::version.eq(shown + 1),
        ))
        .execute(tx.conn())?;
    if changed == 1 { Ok(()) } else { Err(StoreError::Stale) }
}

/// Throws a draft away. A protocol without any version goes with it.
pub fn drop_draft(tx: &mut Tx<'_>, own: &Own, draft: ProtocolVersionId, shown: i32) -> Result<(), StoreError> {
    let target = protocol_versions::table
        .find(draft)
        .filter(protocol_versions::service_id.eq(own.service_id))
        .filter(protocol_versions::version.eq(shown))
        .filter(protocol_versions::in_force_from.is_null());
    if diesel::delete(target).execute(tx.conn())? != 1 {
        return Err(StoreError::Stale);
    }
    if versions(tx.conn(), own.service_id, own.id)?.is_empty() {
        diesel::delete(protocols::table.find(own.id)).execute(tx.conn())?;
    }
    Ok(())
}
