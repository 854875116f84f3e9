//! Between the records and the rules: from rows of the database to a supply request, and from a plan back to rows.
//!
//! It translates and decides nothing: quantities, verdicts and findings are the rules'. It must not read the database,
//! the clock or a form.

use std::collections::HashMap;
use std::num::NonZeroU32;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::rules::{
    self, Avoid, Convexity, Coupling, ItemCategory, Level, Line, LinePlan, PatientFit, Period, RULE_VERSION, SetId,
    StomaFinding, StomaFit, StomaKind, SupplyRequest, Use,
};
use super::store::{Item, LineRow};
use crate::db::ids::{ItemId, LineId, PrescriptionId};
use crate::db::{Doc, StoreError};
use crate::patients::store::Patient;
use crate::provenance::Standing;
use crate::skin::store::{AssessmentRow, StomaFound};
use crate::stomas::store::Stoma;

/// Days in which somebody counts as newborn: the first four weeks of life (WHO's neonatal period: from memory).
const NEONATE_DAYS: u64 = 28;

/// Words that say in a note what is avoided, whatever the reason (local: the note is free text).
const AVOID_WORDS: [(&str, Avoid); 11] = [
    ("porcine", Avoid::Porcine),
    ("pork", Avoid::Porcine),
    ("from pigs", Avoid::Porcine),
    ("bovine", Avoid::Bovine),
    ("beef", Avoid::Bovine),
    ("from cattle", Avoid::Bovine),
    ("animal", Avoid::AnimalDerived),
    ("vegan", Avoid::AnimalDerived),
    ("vegetarian", Avoid::AnimalDerived),
    ("halal", Avoid::Porcine),
    ("kosher", Avoid::Porcine),
];

/// One line as it is wanted, with its item.
#[derive(Clone, Debug)]
pub struct Ordered {
    /// Item of the catalogue.
    pub item: Item,
    /// How much is used.
    pub uses: Use,
    /// Units the patient still has.
    pub on_hand: u32,
    /// Opening to be cut, mm.
    pub aperture_mm: Option<i32>,
    /// repeat or acute.
    pub issue: String,
    /// Why, for an accessory.
    pub reason: Option<String>,
    /// When to look at it again.
    pub review_on: Option<NaiveDate>,
}

/// For whom and for which stoma, as far as the rules ask.
#[derive(Clone, Copy, Debug)]
pub struct Whose<'a> {
    /// Patient.
    pub patient: &'a Patient,
    /// Stoma.
    pub stoma: &'a Stoma,
    /// Last assessment of that stoma.
    pub last: Option<&'a AssessmentRow>,
    /// Day of the decision.
    pub today: NaiveDate,
}

/// What the quantity set says of a line, as kept in the column `verdict`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptVerdict {
    /// Code of the answer: in-range, over, …
    pub code: String,
    /// In words.
    pub words: String,
    /// Where the figure comes from.
    pub source: String,
    /// Its standing.
    pub standing: Standing,
}

/// A finding as kept in the column `findings`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptFinding {
    /// refuse, warn, note.
    pub level: String,
    /// Code of the rule.
    pub rule: String,
    /// What to know.
    pub text: String,
    /// Where the rule comes from.
    pub source: String,
    /// Its standing.
    pub standing: Standing,
    /// Lines it is about, from 1; empty for the order as a whole.
    pub lines: Vec<usize>,
}

impl KeptFinding {
    /// True when the order as written cannot be right.
    pub fn refuses(&self) -> bool {
        self.level == Level::Refuse.code()
    }
}

/// What the rules made of one line, as kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CheckedLine {
    /// Units needed.
    pub units: i32,
    /// Packs.
    pub packs: i32,
    /// Units in those packs.
    pub supplied: i32,
    /// Days that all of it lasts.
    pub days_supply: i32,
    /// What the quantity set says.
    pub verdict: KeptVerdict,
}

/// What the rules made of an order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Checked {
    /// One per line, in order.
    pub lines: Vec<CheckedLine>,
    /// The gravest first.
    pub findings: Vec<KeptFinding>,
}

impl Checked {
    /// True when a finding says that the order as written cannot be right.
    pub fn refuses(&self) -> bool {
        self.findings.iter().any(KeptFinding::refuses)
    }

    /// A short seal over what was shown, so that nobody signs something else than they have seen.
    pub fn seal(&self) -> Result<String, StoreError> {
        let text = serde_json::to_vec(&(RULE_VERSION, self)).map_err(|e| StoreError::Backend(e.to_string()))?;
        Ok(hex::encode(&Sha256::digest(&text)[..16]))
    }
}

/// Decides an order against the quantity set with this code.
pub fn check(whose: Whose<'_>, period: Period, set: &str, lines: &[Ordered]) -> Result<Checked, StoreError> {
    let request = request(whose, period, set, lines)?;
    let plan = rules::decide_supply(&request);
    let findings = plan.findings.into_iter().map(|found| KeptFinding {
        level: found.level.code().to_owned(),
        rule: found.rule,
        text: found.text,
        source: found.source.source.into_owned(),
        standing: found.source.standing,
        lines: found.lines.into_iter().map(|index| index + 1).collect(),
    });
    Ok(Checked { findings: findings.collect(), lines: plan.lines.iter().map(kept).collect() })
}

fn kept(plan: &LinePlan) -> CheckedLine {
    let verdict = plan.verdicts.first().map_or_else(
        || KeptVerdict {
            code: rules::Band::NoPublishedLimit.code().to_owned(),
            words: "not compared: the service's quantity set is not one of those in this program".to_owned(),
            source: "no quantity set".to_owned(),
            standing: Standing::Local,
        },
        |verdict| {
            let words = rules::verdict_in_words(verdict);
            KeptVerdict {
                code: verdict.band.code().to_owned(),
                words: verdict.note.as_ref().map_or_else(|| words.clone(), |note| format!("{words} ({note})")),
                source: with_year(&verdict.source.source, &verdict.year),
                standing: verdict.source.standing,
            }
        },
    );
    // The form's bounds keep every count far below 2^31; only a stock that lasts for millions of days saturates.
    let whole = |n: i64| i32::try_from(n).unwrap_or(i32::MAX);
    CheckedLine {
        units: whole(plan.units),
        packs: whole(plan.packs),
        supplied: whole(plan.supplied),
        days_supply: whole(plan.days_supply),
        verdict,
    }
}

/// A source with its year, where its words do not say it already.
pub fn with_year(source: &str, year: &str) -> String {
    if source.contains(year) { source.to_owned() } else { format!("{source}, {year}") }
}

/// The request as the rules take it.
pub fn request(whose: Whose<'_>, period: Period, set: &str, lines: &[Ordered]) -> Result<SupplyRequest, StoreError> {
    Ok(SupplyRequest {
        period_days: period,
        stoma: stoma_fit(whose)?,
        patient: patient_fit(whose.patient, whose.today),
        lines: lines.iter().map(line).collect::<Result<_, _>>()?,
        sets: SetId::from_code(set).into_iter().collect(),
    })
}

fn unreadable(what: &str, code: &str) -> StoreError {
    StoreError::Backend(format!("stored {what} {code} is not known"))
}

fn stoma_fit(whose: Whose<'_>) -> Result<StomaFit, StoreError> {
    let Whose { stoma, last, today, .. } = whose;
    let kind = StomaKind::from_code(&stoma.kind).ok_or_else(|| unreadable("kind of stoma", &stoma.kind))?;
    let found: StomaFound = last.map(|row| row.findings.read()).transpose()?.unwrap_or_default();
    // The newer of the two statements counts; what it leaves open is taken from the other.
    let seen_later = last.is_some_and(|row| row.signed_at >= stoma.updated_at);
    let measure = |seen: Option<i32>, kept: Option<i32>| {
        let newest = if seen_later { seen.or(kept) } else { kept.or(seen) };
        newest.map(f64::from)
    };
    let mut findings: Vec<StomaFinding> = found.findings.iter().filter_map(|code| finding_of(code)).collect();
    if last.is_some_and(|row| row.erosion > 0) {
        findings.push(StomaFinding::BrokenSkin);
    }
    findings.sort_unstable();
    findings.dedup();
    let weeks = stoma.surgery_on.and_then(|on| u32::try_from((today - on).num_days() / 7).ok());
    Ok(StomaFit {
        width_mm: measure(found.width_mm, stoma.width_mm),
        height_mm: measure(found.height_mm, stoma.height_mm),
        protrusion_mm: measure(found.protrusion_mm, stoma.protrusion_mm),
        weeks_since_surgery: weeks.filter(|_| stoma.surgery_on.is_some_and(|on| on <= today)),
        findings,
        ..StomaFit::new(kind)
    })
}

/// A code of the clinic form, as `separation-partial`: what it begins with is the rules' code. `…-none` is no finding.
fn finding_of(code: &str) -> Option<StomaFinding> {
    let (_, finding) = StomaFinding::CHOICES
        .iter()
        .find(|(known, _)| code.strip_prefix(known).is_some_and(|rest| rest.is_empty() || rest.starts_with('-')))?;
    (!code.ends_with("-none")).then_some(*finding)
}

/// What the rules need of the patient. The note is cut at commas, semicolons and line ends; each part that names a
/// thing avoided counts as such, all others as an allergy in words, so that nothing written there goes unread.
fn patient_fit(patient: &Patient, today: NaiveDate) -> PatientFit {
    let neonate = patient
        .born_on
        .and_then(|born| born.checked_add_days(Days::new(NEONATE_DAYS)))
        .is_some_and(|grown| today < grown);
    let mut fit = PatientFit { neonate, ..PatientFit::default() };
    let note = patient.sensitivity_note.as_deref().filter(|_| patient.sensitivity == "known").unwrap_or_default();
    for part in note.split([',', ';', '\n']).map(str::trim).filter(|part| !part.is_empty()) {
        let lower = part.to_lowercase();
        let avoids: Vec<Avoid> =
            AVOID_WORDS.iter().filter(|(word, _)| lower.contains(word)).map(|(_, avoid)| *avoid).collect();
        let checked = ["latex", "gelatin", "alcohol"].iter().any(|word| lower.contains(word));
        if avoids.is_empty() || checked {
            fit.allergies.push(part.to_owned());
        }
        for avoid in avoids {
            if !fit.avoids.contains(&avoid) {
                fit.avoids.push(avoid);
            }
        }
    }
    fit
}

fn line(ordered: &Ordered) -> Result<Line, StoreError> {
    let item = &ordered.item;
    let category =
        ItemCategory::from_code(&item.category).ok_or_else(|| unreadable("category of an item", &item.category))?;
    let pack = u32::try_from(item.pack).ok().and_then(NonZeroU32::new);
    let pack = pack.ok_or_else(|| unreadable("pack of an item", &item.pack.to_string()))?;
    let positive = |n: Option<i32>| n.and_then(|n| u32::try_from(n).ok()).filter(|n| *n > 0);
    Ok(Line {
        on_hand: ordered.on_hand,
        content_g: positive(item.content_g),
        content_ml: positive(item.content_ml),
        coupling_mm: item.coupling_mm.map(f64::from),
        coupling: item.coupling.as_deref().and_then(Coupling::from_code),
        aperture_mm: ordered.aperture_mm.map(f64::from),
        precut: item.precut,
        convexity: item.convexity.as_deref().and_then(Convexity::from_code),
        latex: item.latex,
        animal_derived: item.animal_derived,
        // An accessory is asked for its reason; an empty answer is a finding, a question not asked is none.
        reason: ordered.reason.clone().or_else(|| category.is_accessory().then(String::new)),
        ..Line::new(category, pack, ordered.uses)
    })
}

/// The rows of a prescription's lines.
pub fn rows(
    of: (crate::db::ids::ServiceId, crate::db::ids::PatientId, PrescriptionId),
    lines: &[Ordered],
    checked: &Checked,
) -> Result<Vec<LineRow>, StoreError> {
    let (service_id, patient_id, prescription_id) = of;
    let whole = |n: u32| i32::try_from(n).unwrap_or(i32::MAX);
    let row = |(position, (line, made)): (usize, (&Ordered, &CheckedLine))| {
        Ok(LineRow {
            id: LineId::new(),
            service_id,
            patient_id,
            prescription_id,
            position: i32::try_from(position + 1).unwrap_or(i32::MAX),
            item_id: line.item.id,
            category: line.item.category.clone(),
            name: line.item.name.clone(),
            size: line.item.size.clone(),
            unit: line.item.unit.clone(),
            pack: line.item.pack,
            use_units: whole(line.uses.units()),
            use_every_days: whole(line.uses.every_days()),
            on_hand: whole(line.on_hand),
            aperture_mm: line.aperture_mm,
            issue: line.issue.clone(),
            reason: line.reason.clone(),
            review_on: line.review_on,
            units: made.units,
            packs: made.packs,
            supplied: made.supplied,
            days_supply: made.days_supply,
            verdict: Doc::of(&made.verdict)?,
        })
    };
    lines.iter().zip(&checked.lines).enumerate().map(row).collect()
}

/// The lines of a prescription as they were ordered, beside their items as they are now.
pub fn ordered(rows: &[LineRow], items: &[Item]) -> Result<Vec<Ordered>, StoreError> {
    let by_id: HashMap<ItemId, &Item> = items.iter().map(|item| (item.id, item)).collect();
    let read = |row: &LineRow| {
        let item = by_id.get(&row.item_id).ok_or_else(|| unreadable("item of a line", &row.name))?;
        Ok(Ordered {
            item: (*item).clone(),
            uses: uses_of(row)?,
            on_hand: u32::try_from(row.on_hand).unwrap_or(0),
            aperture_mm: row.aperture_mm,
            issue: row.issue.clone(),
            reason: row.reason.clone(),
            review_on: row.review_on,
        })
    };
    rows.iter().map(read).collect()
}

/// The use of a line.
pub fn uses_of(row: &LineRow) -> Result<Use, StoreError> {
    let uses = u32::try_from(row.use_units).ok().zip(u32::try_from(row.use_every_days).ok());
    uses.and_then(|(units, days)| Use::new(units, days)).ok_or_else(|| unreadable("use of a line", &row.name))
}

/// A prescription's period.
pub fn period_of(days: i32) -> Result<Period, StoreError> {
    u16::try_from(days).ok().and_then(Period::new).ok_or_else(|| unreadable("period", &days.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::Stamp;
    use crate::db::ids::ServiceId;
    use crate::patients::store::new_patient;

    #[test]
    fn a_finding_is_known_by_what_its_code_begins_with() {
        assert_eq!(finding_of("separation-partial"), Some(StomaFinding::Separation));
        assert_eq!(finding_of("hernia"), Some(StomaFinding::Hernia));
        for none in ["separation-none", "separations", "granuloma", ""] {
            assert_eq!(finding_of(none), None, "{none}");
        }
    }

    #[test]
    fn nothing_in_the_note_of_sensitivities_goes_unread() {
        let today = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
        let mut patient =
            new_patient(ServiceId::new(), "A", "B", Stamp::new(today.and_time(chrono::NaiveTime::MIN).and_utc()));
        patient.sensitivity = "known".to_owned();
        patient.sensitivity_note = Some("Latex, no pork; vegan\nzinc oxide plasters".to_owned());
        patient.born_on = Some(NaiveDate::from_ymd_opt(2026, 10, 29).unwrap());
        let fit = patient_fit(&patient, today);
        assert_eq!(fit.allergies, ["Latex", "zinc oxide plasters"]);
        assert_eq!(fit.avoids, [Avoid::Porcine, Avoid::AnimalDerived]);
        assert!(fit.neonate, "27 days old");
        patient.born_on = Some(NaiveDate::from_ymd_opt(2026, 10, 28).unwrap());
        patient.sensitivity = "none-known".to_owned();
        let fit = patient_fit(&patient, today);
        assert_eq!(fit, PatientFit::default(), "28 days old, and nothing known");
    }
}
