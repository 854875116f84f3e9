//! The parts of one patient's record, as links for those who may see them.

use crate::db::ids::PatientId;
use crate::web::views::Link;
use crate::web::{Permission, Signed};

/// Links to the parts of a record; `current` is the part one is on, as `/skin`, empty for the record itself.
pub fn parts(signed: &Signed, id: PatientId, current: &str) -> Vec<Link> {
    let list = [
        (Permission::FindPatients, "", "Record"),
        (Permission::SeeClinical, "/skin", "Skin over time"),
        (Permission::SeeClinical, "/photographs", "Photographs"),
        (Permission::SeeClinical, "/supplies", "Supplies"),
        (Permission::SeeClinical, "/follow-up", "Follow-up"),
        (Permission::ReadAccess, "/access", "Who has seen it"),
    ];
    list.into_iter()
        .filter(|(permission, ..)| signed.may(*permission))
        .map(|(_, part, label)| Link {
            href: format!("/patients/{id}{part}"),
            label: label.to_owned(),
            current: part == current,
        })
        .collect()
}
