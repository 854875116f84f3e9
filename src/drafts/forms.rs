//! The forms that keep a draft, and where each lives.

use std::fmt;
use std::str::FromStr;

use uuid::Uuid;

use crate::db::ids::PatientId;
use crate::web::Permission;

/// A form that keeps a draft.
#[derive(Debug, PartialEq, Eq)]
pub struct Form {
    /// Code, in the log and the table.
    pub key: &'static str,
    /// Its address; `{}` stands for an id, the first one for the patient's.
    path: &'static str,
    /// The one thing that may be named in the query, by its id.
    query: Option<&'static str>,
    /// What somebody needs to save the form.
    pub needs: Permission,
}

/// Every form that keeps a draft. One line makes another.
pub static FORMS: [Form; 6] = [
    Form { key: "contact", path: "/patients/{}/contacts/new", query: Some("amend"), needs: Permission::AssessSkin },
    Form { key: "registration", path: "/patients/new", query: None, needs: Permission::EditPatients },
    Form { key: "details", path: "/patients/{}/edit", query: None, needs: Permission::EditPatients },
    Form { key: "stoma.new", path: "/patients/{}/stomas/new", query: None, needs: Permission::EditStomas },
    Form { key: "stoma", path: "/patients/{}/stomas/{}", query: None, needs: Permission::EditStomas },
    Form { key: "supplies", path: "/patients/{}/supplies", query: Some("stoma"), needs: Permission::DrawUpSupplies },
];

/// Where a form lives: its address as one reads it in the browser, and what it is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    address: String,
    /// The form.
    pub form: &'static Form,
    /// The patient, if one is registered already.
    pub patient: Option<PatientId>,
}

/// No form of ours lives there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no form that keeps a draft lives there")]
pub struct NoSuchPlace;

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.address.fmt(f)
    }
}

/// The ids in `path` where `pattern` has `{}`, if all else agrees.
fn ids(pattern: &str, path: &str) -> Option<Vec<Uuid>> {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    let mut found = Vec::new();
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return Some(found),
            (Some("{}"), Some(part)) if part.len() == 36 => found.push(Uuid::parse_str(part).ok()?),
            (Some(want), Some(part)) if want == part => {}
            _ => return None,
        }
    }
}

impl FromStr for Place {
    type Err = NoSuchPlace;

    fn from_str(address: &str) -> Result<Self, NoSuchPlace> {
        let (path, query) = match address.split_once('?') {
            Some((path, query)) => (path, Some(query)),
            None => (address, None),
        };
        let found = FORMS.iter().find_map(|form| ids(form.path, path).map(|ids| (form, ids)));
        let (form, ids) = found.ok_or(NoSuchPlace)?;
        if let Some(query) = query {
            let (name, value) = query.split_once('=').ok_or(NoSuchPlace)?;
            if form.query != Some(name) || value.len() != 36 || Uuid::parse_str(value).is_err() {
                return Err(NoSuchPlace);
            }
        }
        let patient = ids.first().copied().map(PatientId);
        Ok(Self { address: address.to_owned(), form, patient })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_forms_of_the_list_have_a_place() {
        let (a, b) = (Uuid::now_v7(), Uuid::now_v7());
        let stoma: Place = format!("/patients/{a}/stomas/{b}").parse().unwrap();
        assert_eq!((stoma.form.key, stoma.patient), ("stoma", Some(PatientId(a))));
        let amended: Place = format!("/patients/{a}/contacts/new?amend={b}").parse().unwrap();
        assert_eq!(amended.form.key, "contact");
        let new: Place = "/patients/new".parse().unwrap();
        assert_eq!((new.form.key, new.patient), ("registration", None));
        for wrong in [
            "",
            "/",
            "/week",
            "//elsewhere.example/patients/new",
            "https://elsewhere.example/patients/new",
            "/patients/new?amend=1",
            "/patients/new#x",
            "/patients/17/edit",
        ] {
            assert_eq!(wrong.parse::<Place>(), Err(NoSuchPlace), "{wrong}");
        }
        assert!(format!("/patients/{a}/contacts/new?amend=x").parse::<Place>().is_err());
        assert!(format!("/patients/{a}/edit?amend={b}").parse::<Place>().is_err());
        assert!(format!("/patients/{a}/edit/more").parse::<Place>().is_err());
    }
}
