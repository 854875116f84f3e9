//! How many reviews of each mode a week has room for, by site: all queries on the numbers that a lead has set.

use diesel::prelude::*;

use crate::access::places;
use crate::db::connection::MultiBackend;
use crate::db::ids::{ServiceId, SiteId, SlotsId};
use crate::db::schema::weekly_slots;
use crate::db::{Conn, StoreError, Tx};

/// Slots of a usual week of five working days.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = weekly_slots)]
#[diesel(check_for_backend(MultiBackend))]
pub struct WeeklySlots {
    /// Id.
    pub id: SlotsId,
    /// Service.
    pub service_id: ServiceId,
    /// Site; none: for patients without one.
    pub site_id: Option<SiteId>,
    /// clinic, phone, home, ward, video.
    pub mode: String,
    /// How many.
    pub slots: i32,
}

/// All numbers of a service.
pub fn of_service(conn: &mut Conn, service: ServiceId) -> Result<Vec<WeeklySlots>, StoreError> {
    Ok(weekly_slots::table
        .filter(weekly_slots::service_id.eq(service))
        .order((weekly_slots::site_id, weekly_slots::mode))
        .select(WeeklySlots::as_select())
        .load(conn)?)
}

/// Puts these numbers in the place of all that were there.
pub fn keep(tx: &mut Tx<'_>, numbers: &[(Option<SiteId>, String, i32)]) -> Result<(), StoreError> {
    let service = tx.service()?;
    diesel::delete(weekly_slots::table.filter(weekly_slots::service_id.eq(service))).execute(tx.conn())?;
    for (site_id, mode, slots) in numbers {
        let row = WeeklySlots {
            id: SlotsId::new(),
            service_id: service,
            site_id: *site_id,
            mode: mode.clone(),
            slots: *slots,
        };
        diesel::insert_into(weekly_slots::table).values(&row).execute(tx.conn())?;
    }
    Ok(())
}

/// Open sites of a service as id and name, by name.
pub fn sites(conn: &mut Conn, service: ServiceId) -> Result<Vec<(SiteId, String)>, StoreError> {
    let open = places::of_service(conn, service)?.into_iter().filter(|site| site.closed_at.is_none());
    Ok(open.map(|site| (site.id, site.name)).collect())
}
