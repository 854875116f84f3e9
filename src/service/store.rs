//! What the pages of the service count: patients, stomas of each kind, colleagues.

use std::collections::BTreeMap;

use diesel::dsl::count_star;
use diesel::prelude::*;

use crate::access::store as people;
use crate::db::ids::ServiceId;
use crate::db::schema::{patients, stomas};
use crate::db::{Conn, StoreError};

/// How many patients the service has on record.
pub fn patients(conn: &mut Conn, service: ServiceId) -> Result<i64, StoreError> {
    Ok(patients::table.filter(patients::service_id.eq(service)).select(count_star()).first(conn)?)
}

/// How many stomas of each kind are recorded, by kind code.
pub fn stomas(conn: &mut Conn, service: ServiceId) -> Result<BTreeMap<String, i64>, StoreError> {
    let counted: Vec<(String, i64)> = stomas::table
        .filter(stomas::service_id.eq(service))
        .group_by(stomas::kind)
        .select((stomas::kind, count_star()))
        .load(conn)?;
    Ok(counted.into_iter().collect())
}

/// How many people have access, and how many of them have not chosen a password yet.
pub fn colleagues(conn: &mut Conn, service: ServiceId) -> Result<(usize, usize), StoreError> {
    let open: Vec<_> = people::everybody(conn, service)?.into_iter().filter(|p| p.disabled_at.is_none()).collect();
    Ok((open.len(), open.iter().filter(|p| p.password_hash.is_none()).count()))
}
