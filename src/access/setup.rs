//! Changing the facts of a service, and which steps of setting it up are done. All queries on both.

use std::collections::BTreeSet;

use diesel::prelude::*;

use super::roles;
use super::store::{Service, service};
use crate::db::ids::ServiceId;
use crate::db::schema::{services, setup_steps};
use crate::db::{Conn, StoreError, Tx};
use crate::web::Permission;

/// A step that is done when somebody says so. Others (patients brought in, sites named, colleagues invited) show in the
/// records themselves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Name, nation, clinic hours and telephone number were looked at and saved.
    Facts,
    /// A protocol was chosen for each kind of stoma.
    Protocols,
    /// The quantity set was chosen.
    Quantities,
    /// The skin bands were chosen.
    Bands,
    /// The page of steps is put away.
    PutAway,
}

impl Step {
    /// All of them.
    pub const RECORDED: [Self; 5] = [Self::Facts, Self::Protocols, Self::Quantities, Self::Bands, Self::PutAway];

    /// The stored code.
    pub fn code(self) -> &'static str {
        match self {
            Self::Facts => "facts",
            Self::Protocols => "protocols",
            Self::Quantities => "quantities",
            Self::Bands => "bands",
            Self::PutAway => "put-away",
        }
    }
}

/// Codes of the steps that somebody said are done.
pub fn done(conn: &mut Conn, service: ServiceId) -> Result<Vec<String>, StoreError> {
    Ok(setup_steps::table.filter(setup_steps::service_id.eq(service)).select(setup_steps::step).load(conn)?)
}

/// Says that a step is done. Saying it twice changes nothing.
pub fn settle(tx: &mut Tx<'_>, step: Step) -> Result<(), StoreError> {
    let (service, now, by) = (tx.service()?, tx.now(), tx.actor().staff_id);
    if done(tx.conn(), service)?.iter().any(|code| code == step.code()) {
        return Ok(());
    }
    diesel::insert_into(setup_steps::table)
        .values((
            setup_steps::service_id.eq(service),
            setup_steps::step.eq(step.code()),
            setup_steps::done_at.eq(now),
            setup_steps::done_by.eq(by),
        ))
        .execute(tx.conn())?;
    Ok(())
}

/// Takes the page of steps out again.
pub fn take_out(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let service = tx.service()?;
    let row = setup_steps::table.find((service, Step::PutAway.code()));
    diesel::delete(row).execute(tx.conn())?;
    Ok(())
}

/// True when the page of steps is put away.
pub fn is_put_away(conn: &mut Conn, service: ServiceId) -> Result<bool, StoreError> {
    Ok(done(conn, service)?.iter().any(|code| code == Step::PutAway.code()))
}

/// The first page for somebody with these permissions: the steps, for those who set a service up, until they are put
/// away.
pub fn first_page(conn: &mut Conn, service: ServiceId, may: &BTreeSet<Permission>) -> Result<&'static str, StoreError> {
    if may.contains(&Permission::SetUpService) && !is_put_away(conn, service)? {
        return Ok("/welcome");
    }
    Ok(roles::first_page(may))
}

/// Where somebody goes after a choice: back to the steps while they are not put away, else to `otherwise`.
pub fn way_on(conn: &mut Conn, service: ServiceId, otherwise: &'static str) -> Result<&'static str, StoreError> {
    Ok(if is_put_away(conn, service)? { otherwise } else { "/welcome" })
}

/// Replaces the facts of the acting service. `changed` carries the version that was shown.
pub fn replace(tx: &mut Tx<'_>, changed: &Service) -> Result<(), StoreError> {
    let id = tx.service()?;
    let before = service(tx.conn(), id)?;
    if before.version != changed.version {
        return Err(StoreError::Stale);
    }
    diesel::update(services::table.find(id))
        .set((
            services::name.eq(&changed.name),
            services::nation.eq(&changed.nation),
            services::band_set.eq(&changed.band_set),
            services::protocol_colostomy.eq(&changed.protocol_colostomy),
            services::protocol_ileostomy.eq(&changed.protocol_ileostomy),
            services::protocol_urostomy.eq(&changed.protocol_urostomy),
            services::clinic_opens.eq(&changed.clinic_opens),
            services::clinic_closes.eq(&changed.clinic_closes),
            services::slot_minutes.eq(changed.slot_minutes),
            services::phone.eq(&changed.phone),
            services::version.eq(services::version + 1),
        ))
        .execute(tx.conn())?;
    Ok(())
}
