//! All queries on catalogue items, prescriptions and their lines.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{ItemId, LineId, PatientId, PrescriptionId, ServiceId, StaffId, StomaId};
use crate::db::schema::{catalogue_items, prescription_lines, prescriptions, services};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::on_each;

/// An item of a service's catalogue.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = catalogue_items)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Item {
    /// Id.
    pub id: ItemId,
    /// Service.
    pub service_id: ServiceId,
    /// Code within the catalogue.
    pub code: String,
    /// Contract code of the category.
    pub category: String,
    /// Generic name first.
    pub name: String,
    /// Size in words.
    pub size: Option<String>,
    /// Units in a pack.
    pub pack: i32,
    /// What one unit is.
    pub unit: String,
    /// Diameter of the coupling, mm.
    pub coupling_mm: Option<i32>,
    /// Kind of coupling.
    pub coupling: Option<String>,
    /// Shape of the plate.
    pub convexity: Option<String>,
    /// Grams in one unit.
    pub content_g: Option<i32>,
    /// Millilitres in one unit.
    pub content_ml: Option<i32>,
    /// Opening cut by the maker.
    pub precut: Option<bool>,
    /// Holds latex; none: to be asked of the maker.
    pub latex: Option<bool>,
    /// Of animal origin; none: to be asked.
    pub animal_derived: Option<bool>,
    /// Where the pack size comes from, with its standing.
    pub source: String,
    /// Offered when a list is drawn up.
    pub active: bool,
    /// Row version.
    pub version: i32,
    /// Added.
    pub created_at: Stamp,
}

/// A prescription.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset, Identifiable)]
#[diesel(table_name = prescriptions, treat_none_as_null = true)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Prescription {
    /// Id.
    pub id: PrescriptionId,
    /// Service.
    pub service_id: ServiceId,
    /// For whom.
    pub patient_id: PatientId,
    /// For which stoma.
    pub stoma_id: StomaId,
    /// Version of the patient's list, from 1.
    pub number: i32,
    /// draft, signed, superseded, stopped.
    pub status: String,
    /// Days that it covers.
    pub period_days: i32,
    /// Quantity set it was checked against.
    pub quantity_set: String,
    /// Version of the rules.
    pub rule_version: String,
    /// Findings as shown: level, text, source.
    pub findings: Doc,
    /// Who supplies.
    pub dispenser: Option<String>,
    /// A note for GP and dispenser.
    pub note: Option<String>,
    /// Why a refusal was overridden, by the prescriber.
    pub override_reason: Option<String>,
    /// Who drew it up.
    pub drawn_up_by: StaffId,
    /// When.
    pub drawn_up_at: Stamp,
    /// Who signed.
    pub signed_by: Option<StaffId>,
    /// When.
    pub signed_at: Option<Stamp>,
    /// The one before.
    pub supersedes_id: Option<PrescriptionId>,
    /// Why it was stopped.
    pub stopped_reason: Option<String>,
    /// Row version.
    pub version: i32,
}

/// A line of a prescription, with what the rules made of it.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = prescription_lines)]
#[diesel(check_for_backend(MultiBackend))]
pub struct LineRow {
    /// Id.
    pub id: LineId,
    /// Service.
    pub service_id: ServiceId,
    /// For whom.
    pub patient_id: PatientId,
    /// Of which prescription.
    pub prescription_id: PrescriptionId,
    /// From 1.
    pub position: i32,
    /// Item of the catalogue.
    pub item_id: ItemId,
    /// Its category then.
    pub category: String,
    /// Its name then.
    pub name: String,
    /// Its size then.
    pub size: Option<String>,
    /// What one unit is.
    pub unit: String,
    /// Units in a pack then.
    pub pack: i32,
    /// So many units …
    pub use_units: i32,
    /// … every so many days.
    pub use_every_days: i32,
    /// Units the patient has.
    pub on_hand: i32,
    /// Opening cut, mm.
    pub aperture_mm: Option<i32>,
    /// repeat or acute.
    pub issue: String,
    /// Why, for an accessory.
    pub reason: Option<String>,
    /// When to look at it again.
    pub review_on: Option<NaiveDate>,
    /// Units to supply.
    pub units: i32,
    /// Packs.
    pub packs: i32,
    /// Units in those packs.
    pub supplied: i32,
    /// How long it lasts, days.
    pub days_supply: i32,
    /// Verdict of the quantity set: code, words, source, standing.
    pub verdict: Doc,
}

/// The catalogue, by category and name; with `all` also what is no longer offered.
pub fn items(conn: &mut Conn, service: ServiceId, all: bool) -> Result<Vec<Item>, StoreError> {
    let mut query = catalogue_items::table.filter(catalogue_items::service_id.eq(service)).into_boxed();
    if !all {
        query = query.filter(catalogue_items::active.eq(true));
    }
    Ok(query
        .order((catalogue_items::category, catalogue_items::name, catalogue_items::id))
        .select(Item::as_select())
        .load(conn)?)
}

/// One item of this service.
pub fn item(conn: &mut Conn, service: ServiceId, id: ItemId) -> Result<Item, StoreError> {
    Ok(catalogue_items::table
        .find(id)
        .filter(catalogue_items::service_id.eq(service))
        .select(Item::as_select())
        .first(conn)?)
}

/// Adds items. A code that is there already is a conflict.
pub fn add_items(tx: &mut Tx<'_>, items: &[Item]) -> Result<(), StoreError> {
    on_each!(tx.conn(), c => diesel::insert_into(catalogue_items::table).values(items).execute(c))?;
    Ok(())
}

/// Offers an item or no longer offers it.
pub fn set_offered(tx: &mut Tx<'_>, service: ServiceId, id: ItemId, active: bool) -> Result<(), StoreError> {
    let target = catalogue_items::table.find(id).filter(catalogue_items::service_id.eq(service));
    let changed = diesel::update(target)
        .set((catalogue_items::active.eq(active), catalogue_items::version.eq(catalogue_items::version + 1)))
        .execute(tx.conn())?;
    if changed == 1 { Ok(()) } else { Err(StoreError::NotFound) }
}

/// Prescriptions of a patient, newest first.
pub fn of_patient(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<Prescription>, StoreError> {
    Ok(prescriptions::table
        .filter(prescriptions::service_id.eq(service))
        .filter(prescriptions::patient_id.eq(patient))
        .order(prescriptions::number.desc())
        .select(Prescription::as_select())
        .load(conn)?)
}

/// One prescription of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: PrescriptionId) -> Result<Prescription, StoreError> {
    Ok(prescriptions::table
        .find(id)
        .filter(prescriptions::service_id.eq(service))
        .select(Prescription::as_select())
        .first(conn)?)
}

/// Lines of a prescription in order.
pub fn lines(conn: &mut Conn, service: ServiceId, id: PrescriptionId) -> Result<Vec<LineRow>, StoreError> {
    Ok(prescription_lines::table
        .filter(prescription_lines::service_id.eq(service))
        .filter(prescription_lines::prescription_id.eq(id))
        .order(prescription_lines::position)
        .select(LineRow::as_select())
        .load(conn)?)
}

/// Saves a draft with its lines: a new one, or in place of the draft that is there (its version must be the one shown).
pub fn save_draft(tx: &mut Tx<'_>, draft: &Prescription, lines: &[LineRow]) -> Result<(), StoreError> {
    let held: Option<Prescription> = prescriptions::table
        .find(draft.id)
        .filter(prescriptions::service_id.eq(draft.service_id))
        .select(Prescription::as_select())
        .first(tx.conn())
        .optional()?;
    match held {
        None => {
            diesel::insert_into(prescriptions::table).values(draft).execute(tx.conn())?;
        }
        Some(held) if held.status == "draft" && held.version == draft.version => {
            let next = Prescription { version: held.version + 1, ..draft.clone() };
            diesel::update(prescriptions::table.find(draft.id)).set(&next).execute(tx.conn())?;
        }
        Some(_) => return Err(StoreError::Stale),
    }
    let old = prescription_lines::table
        .filter(prescription_lines::service_id.eq(draft.service_id))
        .filter(prescription_lines::prescription_id.eq(draft.id));
    diesel::delete(old).execute(tx.conn())?;
    if !lines.is_empty() {
        on_each!(tx.conn(), c => diesel::insert_into(prescription_lines::table).values(lines).execute(c))?;
    }
    tx.touch(draft.patient_id);
    Ok(())
}

/// Changes the state of a prescription from the state and version that were shown.
fn change(tx: &mut Tx<'_>, from: &Prescription, to: Prescription) -> Result<(), StoreError> {
    let target = prescriptions::table
        .find(from.id)
        .filter(prescriptions::service_id.eq(from.service_id))
        .filter(prescriptions::version.eq(from.version))
        .filter(prescriptions::status.eq(&from.status));
    let next = Prescription { version: from.version + 1, ..to };
    if diesel::update(target).set(&next).execute(tx.conn())? != 1 {
        return Err(StoreError::Stale);
    }
    tx.touch(from.patient_id);
    Ok(())
}

/// Signs a draft; the list in force for the same stoma is superseded by it.
pub fn sign(tx: &mut Tx<'_>, draft: &Prescription, override_reason: Option<String>) -> Result<(), StoreError> {
    let (by, at) = (tx.staff()?, tx.now());
    let in_force: Option<Prescription> = prescriptions::table
        .filter(prescriptions::service_id.eq(draft.service_id))
        .filter(prescriptions::stoma_id.eq(draft.stoma_id))
        .filter(prescriptions::status.eq("signed"))
        .select(Prescription::as_select())
        .first(tx.conn())
        .optional()?;
    if let Some(old) = &in_force {
        change(tx, old, Prescription { status: "superseded".to_owned(), ..old.clone() })?;
    }
    let signed = Prescription {
        status: "signed".to_owned(),
        signed_by: Some(by),
        signed_at: Some(at),
        supersedes_id: in_force.map(|old| old.id),
        override_reason,
        ..draft.clone()
    };
    change(tx, draft, signed)
}

/// Stops a signed list, or throws a draft away, with a reason.
pub fn stop(tx: &mut Tx<'_>, held: &Prescription, reason: &str) -> Result<(), StoreError> {
    let stopped =
        Prescription { status: "stopped".to_owned(), stopped_reason: Some(reason.to_owned()), ..held.clone() };
    change(tx, held, stopped)
}

/// The next version number of a patient's lists.
pub fn next_number(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<i32, StoreError> {
    let last: Option<i32> = prescriptions::table
        .filter(prescriptions::service_id.eq(service))
        .filter(prescriptions::patient_id.eq(patient))
        .select(diesel::dsl::max(prescriptions::number))
        .first(conn)?;
    Ok(last.unwrap_or(0) + 1)
}

/// Chooses the quantity set that a service compares with.
pub fn choose_quantity_set(tx: &mut Tx<'_>, service: ServiceId, code: &str) -> Result<(), StoreError> {
    let changed =
        diesel::update(services::table.find(service)).set(services::quantity_set.eq(code)).execute(tx.conn())?;
    if changed == 1 { Ok(()) } else { Err(StoreError::NotFound) }
}

/// Lists in force of these patients, each with its lines in order: for lists of several patients.
pub fn in_force_of(
    conn: &mut Conn,
    service: ServiceId,
    patients: &[PatientId],
) -> Result<Vec<(Prescription, Vec<LineRow>)>, StoreError> {
    let signed: Vec<Prescription> = prescriptions::table
        .filter(prescriptions::service_id.eq(service))
        .filter(prescriptions::patient_id.eq_any(patients))
        .filter(prescriptions::status.eq("signed"))
        .order((prescriptions::patient_id, prescriptions::number))
        .select(Prescription::as_select())
        .load(conn)?;
    let ids: Vec<PrescriptionId> = signed.iter().map(|list| list.id).collect();
    let mut all: Vec<LineRow> = prescription_lines::table
        .filter(prescription_lines::service_id.eq(service))
        .filter(prescription_lines::prescription_id.eq_any(&ids))
        .order(prescription_lines::position)
        .select(LineRow::as_select())
        .load(conn)?;
    let mut lists = Vec::with_capacity(signed.len());
    for list in signed {
        let (own, others) = all.into_iter().partition(|line| line.prescription_id == list.id);
        all = others;
        lists.push((list, own));
    }
    Ok(lists)
}
