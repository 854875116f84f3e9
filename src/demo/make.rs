//! Making the invented service: accounts, catalogue, patients by their stories, then established ones up to the count.

use chrono::{Duration, NaiveDate};

use super::chance::Chance;
use super::stories::{ESTABLISHED, Ending, Story, TOLD, clear};
use super::{history, people, supplies as prescriptions};
use crate::access::roles::Role;
use crate::access::setup::{self, Step};
use crate::access::{passwords, places, store};
use crate::audit::{Event, append};
use crate::db::ids::StaffId;
use crate::db::{Actor, Db, Stamp, StoreError, Tx};
use crate::follow_up::offered;
use crate::follow_up::replan::replan_as_of;
use crate::follow_up::rules::{Nation, WorkingDays};
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};
use crate::supplies::catalogue::starter_items;
use crate::supplies::store as supplies;

/// One account per role: sign-in name, invented name, role.
pub const ACCOUNTS: [(&str, &str, Role); 7] = [
    ("nurse", "Ruth Ellerby", Role::Nurse),
    ("prescriber", "Idris Pargeter", Role::Prescriber),
    ("assistant", "Nell Tavistock", Role::Assistant),
    ("clerk", "Amit Sorley", Role::Clerk),
    ("lead", "Maeve Corrigan-Bell", Role::Lead),
    ("auditor", "Osric Vane", Role::Auditor),
    ("administrator", "Tilda Rook", Role::Administrator),
];

/// The one password of the demonstration. It guards nobody: the people are invented and only this machine can ask.
pub const PASSWORD: &str = "look around freely";

/// Patients written together.
const TOGETHER: usize = 100;

/// Makes the service unless it is there. Answers whether it was made.
pub fn make(db: &Db, count: usize, seed: u64, mut progress: impl FnMut(usize, usize)) -> Result<bool, StoreError> {
    if db.read_now(store::services)?.iter().any(|s| s.demo) {
        return Ok(false);
    }
    let now = Stamp::new(db.clock().now());
    let mut service = store::new_service("Marlowbridge Stoma Care Service", "england", true, now);
    service.phone = Some("01632 960000".to_owned());
    let hash = passwords::hash(PASSWORD)?;
    let staff: Vec<store::StaffRow> = ACCOUNTS
        .iter()
        .map(|(sign_in, name, role)| {
            let mut row = store::new_staff(service.id, sign_in, name, now);
            row.password_hash = Some(hash.clone());
            row.registration = (*role == Role::Prescriber).then(|| "00X0000E (invented)".to_owned());
            row
        })
        .collect();
    let id_of = |role: Role| {
        ACCOUNTS
            .iter()
            .position(|(.., r)| *r == role)
            .and_then(|i| staff.get(i))
            .map(|s| s.id)
            .ok_or(StoreError::NotFound)
    };
    let (nurse, prescriber) = (id_of(Role::Nurse)?, id_of(Role::Prescriber)?);
    let actor = Actor { staff_id: Some(prescriber), ..Actor::command("demo", Some(service.id)) };
    // The service goes in last with its first patients: a demonstration that was stopped half-way is made anew.
    let mut chance = Chance::new(seed);
    let numbers = people::test_numbers(count);
    let maker = Maker { service: service.clone(), nurse, days: WorkingDays::new(Nation::England, &[]) };
    let mut numbers = numbers.into_iter().enumerate().peekable();
    let mut first = Some((service, staff));
    while numbers.peek().is_some() || first.is_some() {
        let some: Vec<(usize, Identifier)> = numbers.by_ref().take(TOGETHER).collect();
        let done = some.last().map_or(0, |(i, _)| i + 1);
        let (maker, mut dice, begin) = (maker.clone(), chance.clone(), first.take());
        chance = db.write_now(&actor, move |tx| {
            if let Some((service, staff)) = begin {
                store::add_service(tx, &service)?;
                places::add(tx, "Marlowbridge General, outpatients")?;
                for (row, (.., role)) in staff.iter().zip(ACCOUNTS) {
                    store::add_staff(tx, row, &[role])?;
                }
                for step in Step::RECORDED {
                    setup::settle(tx, step)?;
                }
                supplies::add_items(tx, &starter_items(service.id, tx.now()))?;
            }
            let mut made = Vec::new();
            for (index, number) in some {
                made.push(maker.patient(tx, index, number, &mut dice)?);
            }
            append(tx, Event::create("demo").about_all(made))?;
            Ok::<_, StoreError>(dice)
        })?;
        progress(done, count);
    }
    Ok(true)
}

#[derive(Clone)]
struct Maker {
    service: store::Service,
    nurse: StaffId,
    days: WorkingDays,
}

impl Maker {
    fn patient(
        &self,
        tx: &mut Tx<'_>,
        index: usize,
        number: Identifier,
        chance: &mut Chance,
    ) -> Result<crate::db::ids::PatientId, StoreError> {
        let today = tx.now().at().with_timezone(&chrono::Local).date_naive();
        let story = TOLD.get(index).copied();
        let established = story.is_none();
        let (story, seen_ago) = story.map_or_else(|| steady(index, chance), |s| (s, 0));
        let mut patient = people::person(self.service.id, index, today, tx.now(), chance);
        if matches!(index, 12 | 13) {
            // Two records that may be one person: one letter of the name and one digit of the year apart.
            patient.family_name = if index == 12 { "Thornbury" } else { "Thornbery" }.to_owned();
            patient.given_name = "Rosalind".to_owned();
            patient.gender = "female".to_owned();
            patient.title = Some("Mrs".to_owned());
            patient.born_on = NaiveDate::from_ymd_opt(if index == 12 { 1948 } else { 1946 }, 3, 12);
        }
        match story.ending {
            Ending::Died(ago) => set_end(&mut patient, "died", today - Duration::days(ago)),
            Ending::Moved(ago) => set_end(&mut patient, "moved-away", today - Duration::days(ago)),
            _ => {}
        }
        let (id, ended) = (patient.id, patient.ended_on);
        patients::add(
            tx,
            Patient { ended_reason: None, ended_on: None, ..patient.clone() },
            std::slice::from_ref(&number),
        )?;
        let stoma = self.stoma(&story, &patient, story.kind, today, tx.now(), chance);
        stomas::add(tx, &Stoma { reversed_on: None, ..stoma.clone() })?;
        if let Some(kind) = story.second {
            let other = self.stoma(&story, &patient, kind, today, tx.now(), chance);
            stomas::add(tx, &other)?;
        }
        replan_as_of(tx, id, today - Duration::days(story.taken_ago))?;
        for seen in story.seen {
            history::visit(tx, &stoma, seen, self.nurse, today)?;
        }
        if established && seen_ago > 0 {
            history::visit(tx, &stoma, &clear(seen_ago), self.nurse, today)?;
        }
        history::end(tx, &story, &stoma, today, &self.days)?;
        if index.is_multiple_of(2) || index == 3 {
            let items = supplies::items(tx.conn(), self.service.id, false)?;
            prescriptions::prescribe(tx, &patient, &stoma, &items, 1, index != 8)?;
            if index == 2 {
                // A second version in force, so that there is a change to read.
                prescriptions::prescribe(tx, &patient, &stoma, &items, 2, true)?;
            }
        }
        if stoma.reversed_on.is_some() {
            let held = stomas::find(tx.conn(), self.service.id, stoma.id)?;
            stomas::replace(tx, Stoma { reversed_on: stoma.reversed_on, ..held }, None)?;
        }
        if ended.is_some() {
            let held = patients::find(tx.conn(), self.service.id, id)?;
            let gone = Patient { ended_reason: patient.ended_reason.clone(), ended_on: ended, ..held };
            patients::replace(tx, gone, &[number], None)?;
        }
        Ok(id)
    }

    fn stoma(
        &self,
        story: &Story,
        patient: &Patient,
        kind: &str,
        today: NaiveDate,
        now: Stamp,
        chance: &mut Chance,
    ) -> Stoma {
        let ago = |days: i64| today - Duration::days(days);
        let protocol = story.protocol.unwrap_or_else(|| offered::usual(&self.service, kind));
        let size = i32::try_from(chance.between(24, 38)).unwrap_or(30);
        let base = stomas::new_stoma(self.service.id, patient.id, kind, protocol, ago(story.taken_ago), now);
        Stoma {
            construction: if kind == story.kind { story.construction } else { "end" }.to_owned(),
            permanence: story.permanence.to_owned(),
            surgery: story.surgery.to_owned(),
            surgery_on: Some(ago(story.surgery_ago)),
            discharge_on: story.discharge_ago.map(ago),
            reversal_on: story.reversal_in.map(|days| today + Duration::days(days)),
            reversed_on: match story.ending {
                Ending::Reversed(days) => Some(ago(days)),
                _ => None,
            },
            place: Some(
                if kind == "colostomy" { "Left, below the navel" } else { "Right, below the navel" }.to_owned(),
            ),
            width_mm: Some(size),
            height_mm: Some(size - i32::try_from(chance.between(0, 3)).unwrap_or(0)),
            protrusion_mm: Some(i32::try_from(chance.between(4, 24)).unwrap_or(12)),
            ..base
        }
    }
}

fn set_end(patient: &mut Patient, reason: &str, on: NaiveDate) {
    patient.ended_reason = Some(reason.to_owned());
    patient.ended_on = Some(on);
}

/// Times of today at which the first established patients are booked, so that the day sheet has a morning on it. Those of
/// the told stories stand with them.
const BOOKED_TODAY: [&str; 4] = ["10:00", "10:30", "11:00", "12:00"];

/// Established: some years with the stoma, seen about a year ago, the yearly review somewhere in the coming year. The
/// first of them fall into these days, so that the week has something usual in it.
fn steady(index: usize, chance: &mut Chance) -> (Story, i64) {
    let years = chance.between(2, 9);
    let next_in = if index < TOLD.len() + 7 { chance.between(-2, 4) } else { chance.between(-3, 300) };
    let surgery_ago = years * 365 + years / 4 - next_in;
    let kind = chance.one(&["colostomy", "ileostomy", "urostomy", "colostomy"]).unwrap_or("colostomy");
    // Seen in the days after the last anniversary, so that only the coming one is open.
    let seen_ago = (365 - next_in - chance.between(5, 12)).clamp(1, surgery_ago - 10);
    let story = Story {
        kind,
        surgery_ago,
        discharge_ago: Some(surgery_ago - 8),
        taken_ago: seen_ago,
        seen: &[],
        ending: BOOKED_TODAY.get(index - TOLD.len()).map_or(Ending::Goes, |time| Ending::Booked(0, time)),
        ..ESTABLISHED
    };
    (story, seen_ago)
}
