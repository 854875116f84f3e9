//! Invented prescriptions: what each kind of stoma usually asks for, through the same rules as every prescription.

use crate::db::ids::PrescriptionId;
use crate::db::{Doc, StoreError, Tx};
use crate::patients::store::Patient;
use crate::stomas::store::Stoma;
use crate::supplies::order::{self, Ordered, Whose};
use crate::supplies::rules::{ItemCategory, Period, RULE_VERSION, Use};
use crate::supplies::store::{self as supplies, Item, Prescription};

/// Code of the item, units, every so many days, reason.
type Wanted = (&'static str, u32, u32, Option<&'static str>);

const COLOSTOMY: [Wanted; 3] = [
    ("one-piece-closed-flat-cut", 2, 1, None),
    ("adhesive-remover-wipe", 2, 1, Some("Skin marks when the plate is peeled dry")),
    ("disposal-bag", 2, 1, Some("Asked for by the patient")),
];
const ILEOSTOMY: [Wanted; 4] = [
    ("one-piece-drainable-soft-convex-cut", 1, 2, None),
    ("ring-mouldable-50", 1, 2, Some("Crease at three o’clock")),
    ("adhesive-remover-spray-50", 1, 14, Some("Skin marks when the plate is peeled dry")),
    ("barrier-film-wipe", 1, 2, Some("Skin sore after leaks; review in three months")),
];
const UROSTOMY: [Wanted; 3] = [
    ("one-piece-urostomy-flat-cut", 1, 2, None),
    ("night-bag-2000", 1, 7, None),
    ("adhesive-remover-wipe", 1, 2, Some("Skin marks when the plate is peeled dry")),
];

/// Sticks to the skin and has no hole of the maker's.
fn to_be_cut(item: &Item) -> bool {
    ItemCategory::from_code(&item.category).is_some_and(ItemCategory::has_plate) && item.precut != Some(true)
}

/// Draws a list up and signs it unless it is to stay a draft.
pub fn prescribe(
    tx: &mut Tx<'_>,
    patient: &Patient,
    stoma: &Stoma,
    items: &[Item],
    faster: u32,
    signed: bool,
) -> Result<(), StoreError> {
    let wanted: &[Wanted] = match stoma.kind.as_str() {
        "colostomy" => &COLOSTOMY,
        "ileostomy" => &ILEOSTOMY,
        _ => &UROSTOMY,
    };
    let today = tx.now().at().with_timezone(&chrono::Local).date_naive();
    let mut lines = Vec::new();
    for (code, units, days, reason) in wanted {
        let item = items.iter().find(|i| i.code == *code).ok_or(StoreError::NotFound)?;
        let uses = Use::new(units * faster, *days).ok_or(StoreError::NotFound)?;
        lines.push(Ordered {
            item: item.clone(),
            uses,
            on_hand: 0,
            // A hole a little wider than the stoma: 3 mm (CSIR, Appliance wear times: 3 to 4 mm).
            aperture_mm: stoma.width_mm.map(|width| width + 3).filter(|_| to_be_cut(item)),
            issue: "repeat".to_owned(),
            reason: reason.map(str::to_owned),
            review_on: reason.map(|_| today + chrono::Duration::days(90)),
        });
    }
    let set = "scotland-2015";
    let period = Period::new(28).ok_or(StoreError::NotFound)?;
    let checked = order::check(Whose { patient, stoma, last: None, today }, period, set, &lines)?;
    let draft = Prescription {
        id: PrescriptionId::new(),
        service_id: patient.service_id,
        patient_id: patient.id,
        stoma_id: stoma.id,
        number: supplies::next_number(tx.conn(), patient.service_id, patient.id)?,
        status: "draft".to_owned(),
        period_days: 28,
        quantity_set: set.to_owned(),
        rule_version: RULE_VERSION.to_owned(),
        findings: Doc::of(&checked.findings)?,
        dispenser: patient.dispenser.clone(),
        note: None,
        override_reason: None,
        drawn_up_by: tx.staff()?,
        drawn_up_at: tx.now(),
        signed_by: None,
        signed_at: None,
        supersedes_id: None,
        stopped_reason: None,
        version: 1,
    };
    let rows = order::rows((patient.service_id, patient.id, draft.id), &lines, &checked)?;
    supplies::save_draft(tx, &draft, &rows)?;
    if signed { supplies::sign(tx, &draft, None) } else { Ok(()) }
}
