//! The sites of a service: places where it holds clinics. All queries on them.

use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{ServiceId, SiteId};
use crate::db::schema::sites;
use crate::db::{Conn, Stamp, StoreError, Tx};

/// A place where the service holds clinics.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = sites)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Site {
    /// Id.
    pub id: SiteId,
    /// Service.
    pub service_id: ServiceId,
    /// Name as printed.
    pub name: String,
    /// Closed since; kept, because what took place there stays true.
    pub closed_at: Option<Stamp>,
}

/// Sites of a service: open ones first, then by name.
pub fn of_service(conn: &mut Conn, service: ServiceId) -> Result<Vec<Site>, StoreError> {
    let mut found: Vec<Site> =
        sites::table.filter(sites::service_id.eq(service)).select(Site::as_select()).load(conn)?;
    found.sort_by_key(|site| (site.closed_at.is_some(), site.name.to_lowercase()));
    Ok(found)
}

/// A site of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: SiteId) -> Result<Site, StoreError> {
    Ok(sites::table.find(id).filter(sites::service_id.eq(service)).select(Site::as_select()).first(conn)?)
}

/// Adds a site. A name that the service has already is a conflict.
pub fn add(tx: &mut Tx<'_>, name: &str) -> Result<SiteId, StoreError> {
    let site = Site { id: SiteId::new(), service_id: tx.service()?, name: name.to_owned(), closed_at: None };
    diesel::insert_into(sites::table).values(&site).execute(tx.conn())?;
    Ok(site.id)
}

/// Gives a site another name. A name that the service has already is a conflict.
pub fn rename(tx: &mut Tx<'_>, id: SiteId, name: &str) -> Result<(), StoreError> {
    let service = tx.service()?;
    let site = sites::table.find(id).filter(sites::service_id.eq(service));
    one(diesel::update(site).set(sites::name.eq(name)).execute(tx.conn())?)
}

/// Closes a site, or opens it again.
pub fn set_open(tx: &mut Tx<'_>, id: SiteId, open: bool) -> Result<(), StoreError> {
    let service = tx.service()?;
    let closed_at = (!open).then(|| tx.now());
    let site = sites::table.find(id).filter(sites::service_id.eq(service));
    one(diesel::update(site).set(sites::closed_at.eq(closed_at)).execute(tx.conn())?)
}

fn one(changed: usize) -> Result<(), StoreError> {
    if changed == 1 { Ok(()) } else { Err(StoreError::NotFound) }
}
