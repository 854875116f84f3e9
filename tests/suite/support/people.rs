//! Invented patients written straight into the records, for tests that need one to begin with.

use chrono::{Duration, NaiveDate};
use roundel::db::StoreError;
use roundel::db::ids::{PatientId, StomaId};
use roundel::follow_up::store::{self as reviews, Review};
use roundel::patients::identifiers::{Identifier, Scheme};
use roundel::patients::store::{Patient, add, new_patient};
use roundel::stomas::store::{Stoma, add as add_stoma, new_stoma};
use roundel::week::store::{WeekRow, kept};

use super::TestApp;

/// A patient of the test's service.
#[derive(Clone, Debug)]
pub struct Someone {
    pub id: PatientId,
    pub stoma: StomaId,
    pub name: String,
}

impl TestApp {
    /// A patient with an end ileostomy whose surgery was so many days ago, discharged a week later.
    pub fn db_patient(&self, family: &str, given: &str, nhs: &str, surgery_ago: i64) -> Someone {
        self.db_patient_with(family, given, nhs, surgery_ago, |_, _| ())
    }

    /// The same, changed before it is written.
    pub fn db_patient_with(
        &self,
        family: &str,
        given: &str,
        nhs: &str,
        surgery_ago: i64,
        change: impl FnOnce(&mut Patient, &mut Stoma),
    ) -> Someone {
        let (service, now, today) = (self.service_id, self.now(), self.today());
        let mut patient = new_patient(service, family, given, now);
        patient.born_on = NaiveDate::from_ymd_opt(1951, 8, 23);
        patient.gender = "female".to_owned();
        patient.phone = Some("01632 960123".to_owned());
        let mut stoma = new_stoma(service, patient.id, "ileostomy", "dartford-gravesham", today, now);
        stoma.construction = "end".to_owned();
        stoma.permanence = "permanent".to_owned();
        stoma.surgery = "planned".to_owned();
        stoma.surgery_on = Some(today - Duration::days(surgery_ago));
        stoma.discharge_on = Some(today - Duration::days(surgery_ago - 7));
        change(&mut patient, &mut stoma);
        let numbers: Vec<Identifier> = (!nhs.is_empty())
            .then(|| Identifier::parse(Scheme::NhsNumber, nhs).expect("a number of the test range"))
            .into_iter()
            .collect();
        let someone = Someone { id: patient.id, stoma: stoma.id, name: patient.display_name() };
        self.write(move |tx| {
            add(tx, patient, &numbers)?;
            add_stoma(tx, &stoma)
        });
        someone
    }

    /// Reviews of a patient by day.
    pub fn reviews_of(&self, id: PatientId) -> Vec<Review> {
        let service = self.service_id;
        self.read(move |conn| reviews::of_patient(conn, service, id))
    }

    /// The open review that comes next.
    pub fn next_review(&self, id: PatientId) -> Review {
        let open = self.reviews_of(id).into_iter().filter(Review::is_open);
        open.min_by_key(|r| (r.due_on(), r.id)).expect("an open review")
    }

    /// The week's row of a patient.
    pub fn week_row(&self, id: PatientId) -> Option<WeekRow> {
        let service = self.service_id;
        self.read(move |conn| kept(conn, service, id))
    }

    /// Changes a review directly.
    pub fn db_review(&self, review: Review) {
        self.write(move |tx| reviews::replace(tx, review).map_err(|e: StoreError| e));
    }
}
