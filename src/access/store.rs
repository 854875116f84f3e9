//! All queries on services, staff, sessions and one-time links.

use chrono::Duration;
use diesel::prelude::*;

use super::roles::Role;
use crate::db::connection::MultiBackend;
use crate::db::ids::{ServiceId, StaffId};
use crate::db::schema::{services, sessions, sign_in_links, staff, staff_roles};
use crate::db::{Conn, Stamp, StoreError, Tx};

/// A service.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = services)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Service {
    /// Id.
    pub id: ServiceId,
    /// Name as printed.
    pub name: String,
    /// Nation code, for bank holidays.
    pub nation: String,
    /// A demonstration with invented people.
    pub demo: bool,
    /// Code of the band set chosen.
    pub band_set: String,
    /// Code of the quantity set chosen.
    pub quantity_set: String,
    /// Protocol for a colostomy.
    pub protocol_colostomy: String,
    /// Protocol for an ileostomy.
    pub protocol_ileostomy: String,
    /// Protocol for a urostomy.
    pub protocol_urostomy: String,
    /// First slot, `HH:MM`.
    pub clinic_opens: String,
    /// End of the last slot, `HH:MM`.
    pub clinic_closes: String,
    /// Length of a slot.
    pub slot_minutes: i32,
    /// Phone number as printed.
    pub phone: Option<String>,
    /// When it was made.
    pub created_at: Stamp,
    /// Row version.
    pub version: i32,
}

/// A staff member.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = staff)]
#[diesel(check_for_backend(MultiBackend))]
pub struct StaffRow {
    /// Id.
    pub id: StaffId,
    /// Service they work for.
    pub service_id: ServiceId,
    /// What they type to sign in, lower case.
    pub sign_in_name: String,
    /// Name on pages and prints.
    pub display_name: String,
    /// Professional registration, as printed under a signature.
    pub registration: Option<String>,
    /// Argon2id hash; none until the one-time link was used.
    pub password_hash: Option<String>,
    /// Failures in a row.
    pub failed_count: i32,
    /// No attempt before.
    pub locked_until: Option<Stamp>,
    /// No access since.
    pub disabled_at: Option<Stamp>,
    /// Row version.
    pub version: i32,
    /// When it was made.
    pub created_at: Stamp,
}

/// A session found by its reference.
#[derive(Clone, Debug)]
pub struct Session {
    /// Who.
    pub staff: StaffRow,
    /// For which service.
    pub service: Service,
    /// Their roles.
    pub roles: Vec<Role>,
    /// Form token.
    pub form_token: String,
    /// Message not shown yet.
    pub message: Option<String>,
    /// Where the act that the message is about is undone.
    pub undo: Option<String>,
    /// Began.
    pub created_at: Stamp,
    /// Last used.
    pub last_seen_at: Stamp,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = sessions)]
#[diesel(check_for_backend(MultiBackend))]
struct SessionRow {
    staff_id: StaffId,
    form_token: String,
    message: Option<String>,
    undo: Option<String>,
    created_at: Stamp,
    last_seen_at: Stamp,
    ended_at: Option<Stamp>,
}

/// Roles of a staff member, in the order of the table.
pub fn roles_of(conn: &mut Conn, staff_id: StaffId) -> Result<Vec<Role>, StoreError> {
    let codes: Vec<String> =
        staff_roles::table.filter(staff_roles::staff_id.eq(staff_id)).select(staff_roles::role).load(conn)?;
    let mut roles: Vec<Role> = codes.iter().filter_map(|code| Role::from_code(code)).collect();
    roles.sort_unstable();
    Ok(roles)
}

/// The session of this hash, if it is open, younger than `hours`, used within `idle_minutes`, and its owner has access.
pub fn session(
    conn: &mut Conn,
    token_hash: &[u8],
    now: Stamp,
    idle_minutes: i64,
    hours: i64,
) -> Result<Option<Session>, StoreError> {
    let open = |row: &SessionRow| {
        row.ended_at.is_none()
            && row.last_seen_at.at() > now.at() - Duration::minutes(idle_minutes)
            && row.created_at.at() > now.at() - Duration::hours(hours)
    };
    found(conn, token_hash, open)
}

/// For how long after its last use a session still says whose it was, in hours.
const REMEMBERED_HOURS: i64 = 24;

/// Whose session this was, also when it is locked or has ended: to say so on the sign-in page, and to keep what was
/// typed for its author. It opens nothing.
pub fn locked_session(conn: &mut Conn, token_hash: &[u8], now: Stamp) -> Result<Option<Session>, StoreError> {
    found(conn, token_hash, |row| row.last_seen_at.at() > now.at() - Duration::hours(REMEMBERED_HOURS))
}

fn found(
    conn: &mut Conn,
    token_hash: &[u8],
    counts: impl Fn(&SessionRow) -> bool,
) -> Result<Option<Session>, StoreError> {
    let found: Option<(SessionRow, StaffRow, Service)> = sessions::table
        .find(token_hash)
        .inner_join(staff::table.on(staff::id.eq(sessions::staff_id)))
        .inner_join(services::table.on(services::id.eq(sessions::service_id)))
        .filter(staff::disabled_at.is_null())
        .select((SessionRow::as_select(), StaffRow::as_select(), Service::as_select()))
        .first(conn)
        .optional()?;
    let Some((row, staff, service)) = found.filter(|(row, ..)| counts(row)) else { return Ok(None) };
    let roles = roles_of(conn, row.staff_id)?;
    Ok(Some(Session {
        staff,
        service,
        roles,
        form_token: row.form_token,
        message: row.message,
        undo: row.undo,
        created_at: row.created_at,
        last_seen_at: row.last_seen_at,
    }))
}

/// True when this form token was given out in a session of this staff member that was in use not long ago: a page that
/// they opened before they signed in anew.
pub fn was_token_of(conn: &mut Conn, staff_id: StaffId, form_token: &str, now: Stamp) -> Result<bool, StoreError> {
    let since = Stamp::new(now.at() - Duration::hours(REMEMBERED_HOURS));
    let found: Vec<String> = sessions::table
        .filter(sessions::staff_id.eq(staff_id))
        .filter(sessions::last_seen_at.gt(since))
        .select(sessions::form_token)
        .load(conn)?;
    Ok(found.iter().any(|token| crate::web::extract::same_token(form_token, token)))
}

/// Opens a session; `token_hash` is all that is kept of its reference.
pub fn open_session(tx: &mut Tx<'_>, staff: &StaffRow, token_hash: &[u8], form_token: &str) -> Result<(), StoreError> {
    let (now, address) = (tx.now(), tx.actor().address.clone());
    diesel::insert_into(sessions::table)
        .values((
            sessions::token_hash.eq(token_hash),
            sessions::service_id.eq(staff.service_id),
            sessions::staff_id.eq(staff.id),
            sessions::form_token.eq(form_token),
            sessions::address.eq(address),
            sessions::created_at.eq(now),
            sessions::last_seen_at.eq(now),
        ))
        .execute(tx.conn())?;
    Ok(())
}

/// Ends one session.
pub fn end_session(tx: &mut Tx<'_>, token_hash: &[u8]) -> Result<(), StoreError> {
    let now = tx.now();
    diesel::update(sessions::table.find(token_hash)).set(sessions::ended_at.eq(now)).execute(tx.conn())?;
    Ok(())
}

/// Ends every open session of a staff member.
pub fn end_sessions_of(tx: &mut Tx<'_>, staff_id: StaffId) -> Result<usize, StoreError> {
    let now = tx.now();
    Ok(diesel::update(sessions::table.filter(sessions::staff_id.eq(staff_id)).filter(sessions::ended_at.is_null()))
        .set(sessions::ended_at.eq(now))
        .execute(tx.conn())?)
}

/// Leaves a message for the next page of the acting session.
pub fn say(tx: &mut Tx<'_>, text: &str) -> Result<(), StoreError> {
    leave(tx, text, None)
}

/// Leaves a message whose act can be undone at this address.
pub fn say_with_undo(tx: &mut Tx<'_>, text: &str, undo: &str) -> Result<(), StoreError> {
    leave(tx, text, Some(undo))
}

fn leave(tx: &mut Tx<'_>, text: &str, undo: Option<&str>) -> Result<(), StoreError> {
    if let Some(token_hash) = &tx.actor().session {
        let said = (sessions::message.eq(text), sessions::undo.eq(undo));
        diesel::update(sessions::table.find(token_hash)).set(said).execute(tx.conn())?;
    }
    Ok(())
}

/// Remembers what the acting session searches for: kept here and not in the address, where it would stay behind in the
/// browser's history.
pub fn keep_search(tx: &mut Tx<'_>, text: &str) -> Result<(), StoreError> {
    if let Some(token_hash) = &tx.actor().session {
        diesel::update(sessions::table.find(token_hash)).set(sessions::search.eq(text)).execute(tx.conn())?;
    }
    Ok(())
}

/// What a session last searched for.
pub fn last_search(conn: &mut Conn, token_hash: &[u8]) -> Result<Option<String>, StoreError> {
    let found: Option<Option<String>> =
        sessions::table.find(token_hash).select(sessions::search).first(conn).optional()?;
    Ok(found.flatten())
}

/// The staff member of this sign-in name.
pub fn staff_by_name(conn: &mut Conn, sign_in_name: &str) -> Result<Option<StaffRow>, StoreError> {
    let name = sign_in_name.trim().to_lowercase();
    Ok(staff::table.filter(staff::sign_in_name.eq(name)).select(StaffRow::as_select()).first(conn).optional()?)
}

/// A staff member of this service.
pub fn staff_member(conn: &mut Conn, service: ServiceId, id: StaffId) -> Result<StaffRow, StoreError> {
    Ok(staff::table.find(id).filter(staff::service_id.eq(service)).select(StaffRow::as_select()).first(conn)?)
}

/// Everybody of a service, by name.
pub fn everybody(conn: &mut Conn, service: ServiceId) -> Result<Vec<StaffRow>, StoreError> {
    Ok(staff::table
        .filter(staff::service_id.eq(service))
        .order(staff::display_name)
        .select(StaffRow::as_select())
        .load(conn)?)
}

/// Adds a staff member with roles.
pub fn add_staff(tx: &mut Tx<'_>, row: &StaffRow, roles: &[Role]) -> Result<(), StoreError> {
    diesel::insert_into(staff::table).values(row).execute(tx.conn())?;
    set_roles(tx, row.service_id, row.id, roles)
}

/// Replaces somebody's roles.
pub fn set_roles(tx: &mut Tx<'_>, service: ServiceId, id: StaffId, roles: &[Role]) -> Result<(), StoreError> {
    diesel::delete(staff_roles::table.filter(staff_roles::staff_id.eq(id))).execute(tx.conn())?;
    for role in roles {
        diesel::insert_into(staff_roles::table)
            .values((
                staff_roles::service_id.eq(service),
                staff_roles::staff_id.eq(id),
                staff_roles::role.eq(role.code()),
            ))
            .execute(tx.conn())?;
    }
    Ok(())
}

/// Replaces the roles of somebody of this service; `shown` is the version that was shown.
pub fn change_roles(
    tx: &mut Tx<'_>,
    service: ServiceId,
    id: StaffId,
    shown: i32,
    roles: &[Role],
) -> Result<(), StoreError> {
    let row = staff::table.find(id).filter(staff::service_id.eq(service)).filter(staff::version.eq(shown));
    if diesel::update(row).set(staff::version.eq(shown + 1)).execute(tx.conn())? != 1 {
        return Err(StoreError::Stale);
    }
    set_roles(tx, service, id, roles)
}

/// Takes somebody's access away, or gives it back. Taking it away ends their sessions.
pub fn set_access(tx: &mut Tx<'_>, service: ServiceId, id: StaffId, open: bool) -> Result<(), StoreError> {
    let disabled_at = (!open).then(|| tx.now());
    let changed = diesel::update(staff::table.find(id).filter(staff::service_id.eq(service)))
        .set((staff::disabled_at.eq(disabled_at), staff::version.eq(staff::version + 1)))
        .execute(tx.conn())?;
    if changed == 0 {
        return Err(StoreError::NotFound);
    }
    if !open {
        end_sessions_of(tx, id)?;
    }
    Ok(())
}

/// Notes a failed attempt. Delay doubles from the fifth failure, at most 15 minutes; at 100 in a row access ends until
/// an administrator gives a new link (NIST SP 800-63B-4, 3.2.2: at most 100).
pub fn note_failure(tx: &mut Tx<'_>, staff: &StaffRow) -> Result<(), StoreError> {
    // Counted on what stands now: guesses made at the same moment must each count.
    let stands: i32 = staff::table.find(staff.id).select(staff::failed_count).first(tx.conn())?;
    let failed = stands + 1;
    let now = tx.now();
    let locked_until = (failed >= 5).then(|| {
        let seconds = 1i64 << (failed - 5).min(10);
        Stamp::new(now.at() + Duration::seconds(seconds.min(900)))
    });
    diesel::update(staff::table.find(staff.id))
        .set((staff::failed_count.eq(failed), staff::locked_until.eq(locked_until)))
        .execute(tx.conn())?;
    if failed >= 100 {
        set_access(tx, staff.service_id, staff.id, false)?;
    }
    Ok(())
}

/// Sets a password (its hash), clears the failures and ends open sessions.
pub fn set_password(tx: &mut Tx<'_>, id: StaffId, hash: &str) -> Result<(), StoreError> {
    diesel::update(staff::table.find(id))
        .set((
            staff::password_hash.eq(hash),
            staff::failed_count.eq(0),
            staff::locked_until.eq(None::<Stamp>),
            staff::version.eq(staff::version + 1),
        ))
        .execute(tx.conn())?;
    end_sessions_of(tx, id)?;
    Ok(())
}

/// True while a staff member has to wait after failures, or has no access any more.
pub fn must_wait(tx: &mut Tx<'_>, id: StaffId) -> Result<bool, StoreError> {
    let (until, disabled): (Option<Stamp>, Option<Stamp>) =
        staff::table.find(id).select((staff::locked_until, staff::disabled_at)).first(tx.conn())?;
    Ok(disabled.is_some() || until.is_some_and(|until| until > tx.now()))
}

/// Clears the failures after a sign-in.
pub fn clear_failures(tx: &mut Tx<'_>, id: StaffId) -> Result<(), StoreError> {
    diesel::update(staff::table.find(id))
        .set((staff::failed_count.eq(0), staff::locked_until.eq(None::<Stamp>)))
        .execute(tx.conn())?;
    Ok(())
}

/// How long a one-time link lasts.
pub const LINK_HOURS: i64 = 48;

/// Keeps the hash of a one-time link; links given before stop working.
pub fn add_link(tx: &mut Tx<'_>, service: ServiceId, id: StaffId, token_hash: &[u8]) -> Result<(), StoreError> {
    let now = tx.now();
    diesel::update(
        sign_in_links::table.filter(sign_in_links::staff_id.eq(id)).filter(sign_in_links::used_at.is_null()),
    )
    .set(sign_in_links::used_at.eq(now))
    .execute(tx.conn())?;
    diesel::insert_into(sign_in_links::table)
        .values((
            sign_in_links::token_hash.eq(token_hash),
            sign_in_links::service_id.eq(service),
            sign_in_links::staff_id.eq(id),
            sign_in_links::expires_at.eq(Stamp::new(now.at() + Duration::hours(LINK_HOURS))),
        ))
        .execute(tx.conn())?;
    Ok(())
}

/// Whose link this is, if it is unused and has not expired.
pub fn link_owner(conn: &mut Conn, token_hash: &[u8], now: Stamp) -> Result<Option<StaffRow>, StoreError> {
    Ok(sign_in_links::table
        .find(token_hash)
        .inner_join(staff::table.on(staff::id.eq(sign_in_links::staff_id)))
        .filter(sign_in_links::used_at.is_null())
        .filter(sign_in_links::expires_at.gt(now))
        .filter(staff::disabled_at.is_null())
        .select(StaffRow::as_select())
        .first(conn)
        .optional()?)
}

/// Uses a link up; false when somebody else just did.
pub fn use_link(tx: &mut Tx<'_>, token_hash: &[u8]) -> Result<bool, StoreError> {
    let now = tx.now();
    let used = diesel::update(sign_in_links::table.find(token_hash).filter(sign_in_links::used_at.is_null()))
        .set(sign_in_links::used_at.eq(now))
        .execute(tx.conn())?;
    Ok(used == 1)
}

/// All services.
pub fn services(conn: &mut Conn) -> Result<Vec<Service>, StoreError> {
    Ok(services::table.order(services::created_at).select(Service::as_select()).load(conn)?)
}

/// One service.
pub fn service(conn: &mut Conn, id: ServiceId) -> Result<Service, StoreError> {
    Ok(services::table.find(id).select(Service::as_select()).first(conn)?)
}

/// Adds a service.
pub fn add_service(tx: &mut Tx<'_>, service: &Service) -> Result<(), StoreError> {
    diesel::insert_into(services::table).values(service).execute(tx.conn())?;
    Ok(())
}

/// A new service with the defaults of this program.
pub fn new_service(name: &str, nation: &str, demo: bool, now: Stamp) -> Service {
    Service {
        id: ServiceId::new(),
        name: name.to_owned(),
        nation: nation.to_owned(),
        demo,
        band_set: "a".to_owned(),
        quantity_set: "scotland-2015".to_owned(),
        protocol_colostomy: "dartford-gravesham".to_owned(),
        protocol_ileostomy: "dartford-gravesham".to_owned(),
        protocol_urostomy: "dartford-gravesham".to_owned(),
        clinic_opens: "09:00".to_owned(),
        clinic_closes: "12:30".to_owned(),
        slot_minutes: 30, // a telephone clinic of half an hour: Dartford & Gravesham NHS Trust, Stoma therapy page
        phone: None,
        created_at: now,
        version: 1,
    }
}

/// A new staff member without a password.
pub fn new_staff(service: ServiceId, sign_in_name: &str, display_name: &str, now: Stamp) -> StaffRow {
    StaffRow {
        id: StaffId::new(),
        service_id: service,
        sign_in_name: sign_in_name.trim().to_lowercase(),
        display_name: display_name.trim().to_owned(),
        registration: None,
        password_hash: None,
        failed_count: 0,
        locked_until: None,
        disabled_at: None,
        version: 1,
        created_at: now,
    }
}
