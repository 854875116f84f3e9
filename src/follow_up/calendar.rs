//! The working days of a service as it is kept: nation, bank holidays loaded last, own closures.
//!
//! The shipped table of bank holidays counts until another is loaded by command; which days are working days is
//! decided in `rules::calendar`.

use std::sync::{Arc, Mutex, PoisonError};

use chrono::NaiveDate;
use diesel::prelude::*;

use super::rules::bank_holidays::{self, BankHolidays};
use super::rules::{Nation, WorkingDays};
use crate::access::store as services;
use crate::db::connection::MultiBackend;
use crate::db::ids::{ClosureId, HolidayTableId, ServiceId, StaffId};
use crate::db::schema::{bank_holiday_tables, closures};
use crate::db::{Conn, Db, Stamp, StoreError, Tx};

/// A day on which the service is closed.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = closures)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Closure {
    /// Id.
    pub id: ClosureId,
    /// Service.
    pub service_id: ServiceId,
    /// The day.
    pub closed_on: NaiveDate,
    /// Why.
    pub name: String,
    /// Who entered it.
    pub made_by: Option<StaffId>,
    /// When.
    pub created_at: Stamp,
}

/// A table of bank holidays as it was loaded.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = bank_holiday_tables)]
#[diesel(check_for_backend(MultiBackend))]
pub struct HolidayTable {
    /// Id.
    pub id: HolidayTableId,
    /// The file, as `rules/bank_holidays.toml` is written.
    pub document: String,
    /// Where its days come from, as it says.
    pub source: String,
    /// The day on which it was made, as it says.
    pub made_on: NaiveDate,
    /// When it was loaded.
    pub loaded_at: Stamp,
}

/// Closures of a service, by day.
pub fn closures(conn: &mut Conn, service: ServiceId) -> Result<Vec<Closure>, StoreError> {
    Ok(closures::table
        .filter(closures::service_id.eq(service))
        .order(closures::closed_on)
        .select(Closure::as_select())
        .load(conn)?)
}

/// Adds a closure. The same day twice is a conflict.
pub fn add_closure(tx: &mut Tx<'_>, on: NaiveDate, name: &str) -> Result<ClosureId, StoreError> {
    let closure = Closure {
        id: ClosureId::new(),
        service_id: tx.service()?,
        closed_on: on,
        name: name.to_owned(),
        made_by: tx.actor().staff_id,
        created_at: tx.now(),
    };
    diesel::insert_into(closures::table).values(&closure).execute(tx.conn())?;
    Ok(closure.id)
}

/// Takes a closure back.
pub fn remove_closure(tx: &mut Tx<'_>, id: ClosureId) -> Result<(), StoreError> {
    let service = tx.service()?;
    let gone = diesel::delete(closures::table.find(id).filter(closures::service_id.eq(service))).execute(tx.conn())?;
    if gone == 1 { Ok(()) } else { Err(StoreError::NotFound) }
}

/// The table loaded last; none: the shipped one counts.
pub fn loaded_table(conn: &mut Conn) -> Result<Option<HolidayTable>, StoreError> {
    Ok(bank_holiday_tables::table
        .order((bank_holiday_tables::loaded_at.desc(), bank_holiday_tables::id.desc()))
        .select(HolidayTable::as_select())
        .first(conn)
        .optional()?)
}

/// Keeps a table; it counts from now on for every service of this database.
pub fn keep_table(tx: &mut Tx<'_>, document: &str, source: &str, made_on: NaiveDate) -> Result<(), StoreError> {
    let table = HolidayTable {
        id: HolidayTableId::new(),
        document: document.to_owned(),
        source: source.to_owned(),
        made_on,
        loaded_at: tx.now(),
    };
    diesel::insert_into(bank_holiday_tables::table).values(&table).execute(tx.conn())?;
    Ok(())
}

/// Read tables by the id of their row: a row never changes, and reading the file takes longer than asking for its id.
static READ: Mutex<Option<(HolidayTableId, Arc<BankHolidays>)>> = Mutex::new(None);

/// The bank holidays that count.
pub fn holidays(conn: &mut Conn) -> Result<Arc<BankHolidays>, StoreError> {
    let newest: Option<HolidayTableId> = bank_holiday_tables::table
        .order((bank_holiday_tables::loaded_at.desc(), bank_holiday_tables::id.desc()))
        .select(bank_holiday_tables::id)
        .first(conn)
        .optional()?;
    let Some(newest) = newest else { return Ok(Arc::clone(bank_holidays::bank_holidays())) };
    let kept = READ.lock().unwrap_or_else(PoisonError::into_inner).clone();
    if let Some((_, table)) = kept.filter(|(id, _)| *id == newest) {
        return Ok(table);
    }
    let document: String = bank_holiday_tables::table.find(newest).select(bank_holiday_tables::document).first(conn)?;
    let table = bank_holidays::read("the loaded bank holidays", &document).map_err(StoreError::Backend)?;
    let table = Arc::new(table);
    *READ.lock().unwrap_or_else(PoisonError::into_inner) = Some((newest, Arc::clone(&table)));
    Ok(table)
}

/// The working days of a service.
pub fn of_service(conn: &mut Conn, service: ServiceId) -> Result<WorkingDays, StoreError> {
    let nation = services::service(conn, service)?.nation;
    let nation = Nation::from_code(&nation)
        .ok_or_else(|| StoreError::Backend(format!("stored nation {nation} is not known")))?;
    let closed: Vec<NaiveDate> =
        closures::table.filter(closures::service_id.eq(service)).select(closures::closed_on).load(conn)?;
    Ok(WorkingDays::by_table(nation, &closed, holidays(conn)?))
}

/// The same, for a page that needs nothing else of the records.
pub async fn working_days(db: &Db, service: ServiceId) -> Result<WorkingDays, StoreError> {
    db.read(move |conn| of_service(conn, service)).await
}
