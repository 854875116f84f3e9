//! All queries on patients and their identifiers. Every change keeps the version before it.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};

use super::identifiers::{Identifier, Scheme};
use super::names;
use super::rules::phonetic_key;
use crate::db::connection::MultiBackend;
use crate::db::ids::{IdentifierId, PatientId, ServiceId, SiteId, VersionId};
use crate::db::schema::{patient_identifiers, patients, record_versions};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};

/// A patient.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset, Identifiable, Serialize, Deserialize)]
#[diesel(table_name = patients, treat_none_as_null = true)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Patient {
    /// Id.
    pub id: PatientId,
    /// Service that keeps the record.
    pub service_id: ServiceId,
    /// Family name as written.
    pub family_name: String,
    /// Given name as written; empty when not known.
    pub given_name: String,
    /// Title.
    pub title: Option<String>,
    /// What they like to be called.
    pub preferred_name: Option<String>,
    /// Birth date.
    pub born_on: Option<NaiveDate>,
    /// Current gender: male, female, other, not-known, not-specified (ISB 1507).
    pub gender: String,
    /// Address in one line.
    pub address: Option<String>,
    /// Postcode.
    pub postcode: Option<String>,
    /// Phone as received.
    pub phone: Option<String>,
    /// Email.
    pub email: Option<String>,
    /// GP practice.
    pub gp_practice: Option<String>,
    /// Who supplies the appliances.
    pub dispenser: Option<String>,
    /// known, none-known or not-recorded.
    pub sensitivity: String,
    /// Sensitivities and materials to avoid, in words.
    pub sensitivity_note: Option<String>,
    /// A note for the team.
    pub note: Option<String>,
    /// Folded text that search looks through.
    pub search_key: String,
    /// How the family name sounds.
    pub name_key: String,
    /// died, moved-away or declined.
    pub ended_reason: Option<String>,
    /// When.
    pub ended_on: Option<NaiveDate>,
    /// Row version.
    pub version: i32,
    /// Registered.
    pub created_at: Stamp,
    /// Last changed.
    pub updated_at: Stamp,
    /// Where they are usually seen.
    #[serde(default)]
    pub site_id: Option<SiteId>,
}

impl Patient {
    /// "SURNAME, Forename (Title)".
    pub fn display_name(&self) -> String {
        names::display(&self.family_name, &self.given_name, self.title.as_deref())
    }
}

#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = patient_identifiers)]
#[diesel(check_for_backend(MultiBackend))]
struct IdentifierRow {
    id: IdentifierId,
    service_id: ServiceId,
    patient_id: PatientId,
    scheme: String,
    value: String,
}

impl IdentifierRow {
    fn read(&self) -> Option<Identifier> {
        Scheme::from_code(&self.scheme).and_then(|scheme| Identifier::parse(scheme, &self.value).ok())
    }
}

/// Fills the columns that search and the duplicate warning look through.
fn fill_keys(patient: &mut Patient, identifiers: &[Identifier]) {
    let mut parts = vec![
        names::fold_for_search(&patient.family_name),
        names::fold_for_search(&patient.given_name),
        names::fold_for_search(patient.preferred_name.as_deref().unwrap_or("")),
    ];
    if let Some(born) = patient.born_on {
        parts.push(born.format("b%Y%m%d").to_string());
    }
    parts.extend(identifiers.iter().map(|i| i.value().to_lowercase()));
    patient.search_key = format!(" {}", parts.join(" "));
    patient.name_key = phonetic_key(&patient.family_name);
}

/// Adds a patient with identifiers. An identifier that another patient of the service has is a conflict.
pub fn add(tx: &mut Tx<'_>, mut patient: Patient, identifiers: &[Identifier]) -> Result<(), StoreError> {
    fill_keys(&mut patient, identifiers);
    diesel::insert_into(patients::table).values(&patient).execute(tx.conn())?;
    put_identifiers(tx, patient.service_id, patient.id, identifiers)?;
    tx.touch(patient.id);
    Ok(())
}

fn put_identifiers(
    tx: &mut Tx<'_>,
    service_id: ServiceId,
    patient_id: PatientId,
    identifiers: &[Identifier],
) -> Result<(), StoreError> {
    for identifier in identifiers {
        let row = IdentifierRow {
            id: IdentifierId::new(),
            service_id,
            patient_id,
            scheme: identifier.scheme().code().to_owned(),
            value: identifier.value().to_owned(),
        };
        diesel::insert_into(patient_identifiers::table).values(&row).execute(tx.conn())?;
    }
    Ok(())
}

/// Keeps what a record was before a change.
pub fn keep_version(
    tx: &mut Tx<'_>,
    patient_id: PatientId,
    entity: (&str, uuid::Uuid, i32),
    content: &impl Serialize,
    reason: Option<&str>,
) -> Result<(), StoreError> {
    let (name, id, version) = entity;
    let (service_id, now, by) = (tx.service()?, tx.now(), tx.actor().staff_id);
    diesel::insert_into(record_versions::table)
        .values((
            record_versions::id.eq(VersionId::new()),
            record_versions::service_id.eq(service_id),
            record_versions::patient_id.eq(patient_id),
            record_versions::entity.eq(name),
            record_versions::entity_id.eq(VersionId(id)),
            record_versions::version.eq(version),
            record_versions::content.eq(Doc::of(content)?),
            record_versions::reason.eq(reason),
            record_versions::replaced_at.eq(now),
            record_versions::replaced_by.eq(by),
        ))
        .execute(tx.conn())?;
    Ok(())
}

/// Replaces a patient's facts and identifiers. `changed` carries the version that was shown; another version in the
/// record means somebody else was quicker.
pub fn replace(
    tx: &mut Tx<'_>,
    changed: Patient,
    identifiers: &[Identifier],
    reason: Option<&str>,
) -> Result<(), StoreError> {
    let before = find(tx.conn(), changed.service_id, changed.id)?;
    if before.version != changed.version {
        return Err(StoreError::Stale);
    }
    let held = identifiers_of(tx.conn(), changed.service_id, changed.id)?;
    let content = serde_json::json!({
        "patient": before,
        "identifiers": held.iter().map(|i| (i.scheme().code(), i.value())).collect::<Vec<_>>(),
    });
    keep_version(tx, before.id, ("patient", before.id.0, before.version), &content, reason)?;
    let mut after = Patient { version: before.version + 1, updated_at: tx.now(), ..changed };
    fill_keys(&mut after, identifiers);
    diesel::update(patients::table.find(after.id)).set(&after).execute(tx.conn())?;
    if held != identifiers {
        let rows = patient_identifiers::table
            .filter(patient_identifiers::service_id.eq(after.service_id))
            .filter(patient_identifiers::patient_id.eq(after.id));
        diesel::delete(rows).execute(tx.conn())?;
        put_identifiers(tx, after.service_id, after.id, identifiers)?;
    }
    tx.touch(after.id);
    Ok(())
}

/// A patient of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Patient, StoreError> {
    Ok(patients::table.find(id).filter(patients::service_id.eq(service)).select(Patient::as_select()).first(conn)?)
}

/// Patients of this service by their ids, in the order of the ids.
pub fn find_all(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Vec<Patient>, StoreError> {
    Ok(patients::table
        .filter(patients::id.eq_any(ids))
        .filter(patients::service_id.eq(service))
        .order(patients::id)
        .select(Patient::as_select())
        .load(conn)?)
}

/// The ids that follow `after` in the order of ids, at most so many: for going through a whole caseload in parts.
pub fn ids_after(
    conn: &mut Conn,
    service: ServiceId,
    after: Option<PatientId>,
    most: i64,
) -> Result<Vec<PatientId>, StoreError> {
    let mut query = patients::table.filter(patients::service_id.eq(service)).into_boxed();
    if let Some(after) = after {
        query = query.filter(patients::id.gt(after));
    }
    Ok(query.order(patients::id).limit(most).select(patients::id).load(conn)?)
}

/// Identifiers of several patients, national ones first.
pub fn identifiers_of_all(
    conn: &mut Conn,
    service: ServiceId,
    ids: &[PatientId],
) -> Result<HashMap<PatientId, Vec<Identifier>>, StoreError> {
    let rows: Vec<IdentifierRow> = patient_identifiers::table
        .filter(patient_identifiers::service_id.eq(service))
        .filter(patient_identifiers::patient_id.eq_any(ids))
        .select(IdentifierRow::as_select())
        .load(conn)?;
    let mut found: HashMap<PatientId, Vec<Identifier>> = HashMap::new();
    for row in &rows {
        found.entry(row.patient_id).or_default().extend(row.read());
    }
    for held in found.values_mut() {
        held.sort_by_key(Identifier::scheme);
    }
    Ok(found)
}

/// Identifiers of a patient, national ones first.
pub fn identifiers_of(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Vec<Identifier>, StoreError> {
    let rows: Vec<IdentifierRow> = patient_identifiers::table
        .filter(patient_identifiers::service_id.eq(service))
        .filter(patient_identifiers::patient_id.eq(id))
        .select(IdentifierRow::as_select())
        .load(conn)?;
    let mut found: Vec<Identifier> = rows.iter().filter_map(IdentifierRow::read).collect();
    found.sort_by_key(Identifier::scheme);
    Ok(found)
}

/// The patient of this service who has this identifier.
pub fn with_identifier(
    conn: &mut Conn,
    service: ServiceId,
    identifier: &Identifier,
) -> Result<Option<PatientId>, StoreError> {
    Ok(patient_identifiers::table
        .filter(patient_identifiers::service_id.eq(service))
        .filter(patient_identifiers::scheme.eq(identifier.scheme().code()))
        .filter(patient_identifiers::value.eq(identifier.value()))
        .select(patient_identifiers::patient_id)
        .first(conn)
        .optional()?)
}

/// Phone numbers of several patients, as received.
pub fn phones_of(
    conn: &mut Conn,
    service: ServiceId,
    ids: &[PatientId],
) -> Result<Vec<(PatientId, String)>, StoreError> {
    let rows: Vec<(PatientId, Option<String>)> = patients::table
        .filter(patients::service_id.eq(service))
        .filter(patients::id.eq_any(ids))
        .select((patients::id, patients::phone))
        .load(conn)?;
    Ok(rows.into_iter().filter_map(|(id, phone)| phone.map(|p| (id, p))).collect())
}

/// How many rows a search shows at most.
pub const MOST_FOUND: i64 = 50;

/// The words of a search: names in any order, a number with or without blanks, a birth date already read.
#[derive(Clone, Debug, Default)]
pub struct Sought {
    /// Folded words; each must begin a word of the record.
    pub words: Vec<String>,
    /// A birth date.
    pub born_on: Option<NaiveDate>,
}

impl Sought {
    /// Reads what was typed. Digits standing together or in groups are one number.
    pub fn read(typed: &str, born_on: Option<NaiveDate>) -> Self {
        if born_on.is_some() {
            return Self { words: Vec::new(), born_on };
        }
        let folded = names::fold_for_search(typed);
        let mut words: Vec<String> = Vec::new();
        for word in folded.split_whitespace() {
            let digits = word.chars().all(|c| c.is_ascii_digit());
            match words.last_mut() {
                Some(last) if digits && last.chars().all(|c| c.is_ascii_digit()) => last.push_str(word),
                _ => words.push(word.to_owned()),
            }
        }
        Self { words, born_on }
    }

    /// True when there is nothing to look for.
    pub fn is_empty(&self) -> bool {
        self.words.is_empty() && self.born_on.is_none()
    }
}

/// Patients that fit, by name; one more than [`MOST_FOUND`] when there are more.
pub fn search(conn: &mut Conn, service: ServiceId, sought: &Sought) -> Result<Vec<Patient>, StoreError> {
    let mut query = patients::table.filter(patients::service_id.eq(service)).into_boxed();
    for word in &sought.words {
        // Folded words hold letters and digits only, so nothing in them is a pattern character.
        query = query.filter(patients::search_key.like(format!("% {word}%")));
    }
    if let Some(born_on) = sought.born_on {
        query = query.filter(patients::born_on.eq(born_on));
    }
    Ok(query
        .order((patients::family_name, patients::given_name, patients::id))
        .limit(MOST_FOUND + 1)
        .select(Patient::as_select())
        .load(conn)?)
}

/// Ids of all patients of a service: for rebuilding what derives from them.
pub fn all_ids(conn: &mut Conn, service: ServiceId) -> Result<Vec<PatientId>, StoreError> {
    Ok(patients::table.filter(patients::service_id.eq(service)).select(patients::id).order(patients::id).load(conn)?)
}

/// Id, family name, given name and birth date.
pub type Named = (PatientId, String, String, Option<NaiveDate>);

/// [`Named`] of every patient of a service.
pub fn all_names(conn: &mut Conn, service: ServiceId) -> Result<Vec<Named>, StoreError> {
    Ok(patients::table
        .filter(patients::service_id.eq(service))
        .select((patients::id, patients::family_name, patients::given_name, patients::born_on))
        .load(conn)?)
}

/// A new patient with nothing known but a name.
pub fn new_patient(service_id: ServiceId, family: &str, given: &str, now: Stamp) -> Patient {
    Patient {
        id: PatientId::new(),
        service_id,
        family_name: names::tidy(family),
        given_name: names::tidy(given),
        title: None,
        preferred_name: None,
        born_on: None,
        gender: "not-known".to_owned(),
        address: None,
        postcode: None,
        phone: None,
        email: None,
        gp_practice: None,
        dispenser: None,
        sensitivity: "not-recorded".to_owned(),
        sensitivity_note: None,
        note: None,
        search_key: String::new(),
        name_key: String::new(),
        ended_reason: None,
        ended_on: None,
        version: 1,
        created_at: now,
        updated_at: now,
        site_id: None,
    }
}

/// These patients, ended or not: for lists of several patients.
pub fn several(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Vec<Patient>, StoreError> {
    Ok(patients::table
        .filter(patients::service_id.eq(service))
        .filter(patients::id.eq_any(ids))
        .select(Patient::as_select())
        .load(conn)?)
}

/// Identifiers of several patients, each patient's national ones first.
pub fn identifiers_of_several(
    conn: &mut Conn,
    service: ServiceId,
    ids: &[PatientId],
) -> Result<Vec<(PatientId, Identifier)>, StoreError> {
    let rows: Vec<IdentifierRow> = patient_identifiers::table
        .filter(patient_identifiers::service_id.eq(service))
        .filter(patient_identifiers::patient_id.eq_any(ids))
        .select(IdentifierRow::as_select())
        .load(conn)?;
    let mut found: Vec<_> = rows.iter().filter_map(|row| row.read().map(|one| (row.patient_id, one))).collect();
    found.sort_by_key(|(_, one)| one.scheme());
    Ok(found)
}
