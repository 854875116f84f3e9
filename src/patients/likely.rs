//! Asking the records for those who may be one person, by the rules of `rules`: when somebody is registered, and on the
//! result of a search. Only those whose birth date or name key is near are read, by their indexes.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use diesel::prelude::*;

use super::identifiers::Identifier;
use super::rules::{Crowd, DuplicateReason, Person, near_dates, phonetic_key, similarity};
use super::store::{Named, Patient, find, identifiers_of, identifiers_of_all, with_identifier};
use crate::db::ids::{PatientId, ServiceId};
use crate::db::schema::patients;
use crate::db::{Conn, StoreError};

/// A record that may be the same person, with the reason in words.
#[derive(Clone, Debug)]
pub struct Likely {
    /// The record there already.
    pub patient: Patient,
    /// Its identifiers.
    pub identifiers: Vec<Identifier>,
    /// Why.
    pub reason: DuplicateReason,
}

/// Another record that may be the same person as one on a list.
#[derive(Clone, Debug)]
pub struct Alike {
    /// The one on the list.
    pub of: PatientId,
    /// The other record.
    pub id: PatientId,
    /// Its family name.
    pub family: String,
    /// Its given name.
    pub given: String,
    /// Its birth date.
    pub born_on: Option<NaiveDate>,
    /// Its first number, if it has one.
    pub identifier: Option<Identifier>,
    /// Why.
    pub reason: DuplicateReason,
}

fn person<'n>(named: &'n Named, identifiers: &'n [Identifier]) -> Person<'n> {
    Person { family: &named.1, given: &named.2, birth_date: named.3, identifiers }
}

/// Names and birth dates of records born on one of these days.
fn born_on(conn: &mut Conn, service: ServiceId, days: &[NaiveDate]) -> Result<Vec<Named>, StoreError> {
    Ok(patients::table
        .filter(patients::service_id.eq(service))
        .filter(patients::born_on.eq_any(days))
        .select((patients::id, patients::family_name, patients::given_name, patients::born_on))
        .load(conn)?)
}

/// Names and birth dates of records whose family name has one of these keys; with `unknown`, only of those whose birth
/// date is not known.
fn sounding(conn: &mut Conn, service: ServiceId, keys: &[String], unknown: bool) -> Result<Vec<Named>, StoreError> {
    let mut query = patients::table
        .filter(patients::service_id.eq(service))
        .filter(patients::name_key.eq_any(keys))
        .select((patients::id, patients::family_name, patients::given_name, patients::born_on))
        .into_boxed();
    if unknown {
        query = query.filter(patients::born_on.is_null());
    }
    Ok(query.load(conn)?)
}

/// Records of the service that may be the same person as this one, the most alike first; namesakes last.
pub fn duplicates(
    conn: &mut Conn,
    service: ServiceId,
    family: &str,
    given: &str,
    birth_date: Option<NaiveDate>,
    identifiers: &[Identifier],
) -> Result<Vec<Likely>, StoreError> {
    let sought = Person { family, given, birth_date, identifiers };
    let mut candidates = sounding(conn, service, &[phonetic_key(family)], false)?;
    candidates.extend(born_on(conn, service, &birth_date.map(near_dates).unwrap_or_default())?);
    let alike = candidates.iter().filter(|other| similarity(&sought, &person(other, &[])).is_some());
    let mut ids: BTreeSet<PatientId> = alike.map(|other| other.0).collect();
    for identifier in identifiers {
        ids.extend(with_identifier(conn, service, identifier)?);
    }
    let mut likely = Vec::with_capacity(ids.len());
    for id in ids {
        let patient = find(conn, service, id)?;
        let identifiers = identifiers_of(conn, service, id)?;
        let held = Person {
            family: &patient.family_name,
            given: &patient.given_name,
            birth_date: patient.born_on,
            identifiers: &identifiers,
        };
        if let Some(reason) = similarity(&sought, &held) {
            likely.push(Likely { patient, identifiers, reason });
        }
    }
    likely.sort_by_key(|l| (std::cmp::Reverse(l.reason.points()), l.patient.id));
    Ok(likely)
}

/// Of each patient of a list the records that are likely the same person, the most alike first; on the list or not.
/// Namesakes are no part of it, and no number is: two records of a service never share one.
pub fn alike(conn: &mut Conn, service: ServiceId, listed: &[Patient]) -> Result<Vec<Alike>, StoreError> {
    let own: Vec<Named> =
        listed.iter().map(|p| (p.id, p.family_name.clone(), p.given_name.clone(), p.born_on)).collect();
    let days: BTreeSet<NaiveDate> = own.iter().filter_map(|n| n.3).flat_map(near_dates).collect();
    let keys = |of: &[&Patient]| -> Vec<String> {
        of.iter().map(|p| p.name_key.clone()).collect::<BTreeSet<_>>().into_iter().collect()
    };
    let (dated, undated): (Vec<&Patient>, Vec<&Patient>) = listed.iter().partition(|p| p.born_on.is_some());
    let mut others = born_on(conn, service, &days.into_iter().collect::<Vec<_>>())?;
    others.extend(sounding(conn, service, &keys(&dated), true)?);
    if !undated.is_empty() {
        others.extend(sounding(conn, service, &keys(&undated), false)?);
    }
    others.sort_by_key(|n| n.0);
    others.dedup_by_key(|n| n.0);
    let mut crowd = Crowd::default();
    for (number, other) in others.iter().enumerate() {
        crowd.add(number, &person(other, &[]));
    }
    let mut found: Vec<Alike> = Vec::new();
    for one in &own {
        let near = crowd.near(&person(one, &[]));
        for other in near.into_iter().map(|number| &others[number]).filter(|other| other.0 != one.0) {
            let reason = similarity(&person(one, &[]), &person(other, &[])).filter(DuplicateReason::is_likely);
            found.extend(reason.map(|reason| Alike {
                of: one.0,
                id: other.0,
                family: other.1.clone(),
                given: other.2.clone(),
                born_on: other.3,
                identifier: None,
                reason,
            }));
        }
    }
    let ids: Vec<PatientId> = found.iter().map(|a| a.id).collect::<BTreeSet<_>>().into_iter().collect();
    let numbers = identifiers_of_all(conn, service, &ids)?;
    for alike in &mut found {
        alike.identifier = numbers.get(&alike.id).and_then(|held| held.first().cloned());
    }
    found.sort_by_key(|a| (a.of, std::cmp::Reverse(a.reason.points()), a.id));
    Ok(found)
}
