//! Findings about care: skin products, things ordered twice, allergies and what is avoided, how much and why.
//!
//! Words and sources of each rule stand in `findings.toml`. Nothing here diagnoses or names a dose.

use std::num::NonZeroU32;

use num_rational::Ratio;

use super::findings::{Order, Report};
use super::items::{ItemCategory, System};
use super::order::{Avoid, Line, StomaFinding};
use super::quantity::{Rational, add, decimal_words, per_boxes_begun};
use super::sets::SetId;
use super::verdict::Band;

/// Longest calendar month, and two of them: one month is usual, two the most (Yorkshire protocol; read).
const MONTH_DAYS: u16 = 31;
const TWO_MONTHS_DAYS: u16 = 62;
/// Adhesive remover: up to 2 cans for each 30 pouches begun (NHS Lanarkshire formulary; read).
const CANS_PER_BOX: i64 = 2;
const POUCHES_PER_BOX: NonZeroU32 = NonZeroU32::MIN.saturating_add(29);

pub(super) fn check(order: &Order<'_>, report: &mut Report) {
    skin(order, report);
    twice(order, report);
    avoided(order, report);
    allergies(order, report);
    amounts(order, report);
    reasons(order, report);
}

fn skin(order: &Order<'_>, report: &mut Report) {
    let powder = order.of_items(&[ItemCategory::Powder]);
    report.about(order.of_items(&[ItemCategory::BarrierCream]), "cream-under-adhesive", &[]);
    if !order.request.stoma.findings.contains(&StomaFinding::BrokenSkin) {
        report.about(powder, "powder-on-whole-skin", &[]);
        return;
    }
    report.about(powder, "powder-on-broken-skin", &[]);
    report.about(order.of_items(&[ItemCategory::Paste]), "paste-on-broken-skin", &[]);
    report.about(order.of_items(&FILMS), "film-on-broken-skin", &[]);
}

const FILMS: [ItemCategory; 2] = [ItemCategory::BarrierFilmSpray, ItemCategory::BarrierFilmWipe];

fn twice(order: &Order<'_>, report: &mut Report) {
    let pairs = [
        (FILMS, "film-spray-and-wipe"),
        ([ItemCategory::AdhesiveRemoverSpray, ItemCategory::AdhesiveRemoverWipe], "remover-spray-and-wipe"),
        ([ItemCategory::StomaPlug, ItemCategory::StomaCap], "plug-and-cap"),
    ];
    for (pair, rule) in pairs {
        if pair.iter().all(|item| !order.of_items(&[*item]).is_empty()) {
            report.about(order.of_items(&pair), rule, &[]);
        }
    }
}

/// Barriers, powder and paste: what may contain gelatin.
fn may_hold_gelatin(line: &Line) -> bool {
    let others = [
        ItemCategory::Powder,
        ItemCategory::Paste,
        ItemCategory::StripPaste,
        ItemCategory::Ring,
        ItemCategory::FlangeExtender,
    ];
    line.item.has_plate() || others.contains(&line.item)
}

fn is_allergic_to(order: &Order<'_>, word: &str) -> bool {
    order.request.patient.allergies.iter().any(|allergy| allergy.to_lowercase().contains(word))
}

fn avoided(order: &Order<'_>, report: &mut Report) {
    let patient = &order.request.patient;
    let avoids = |what: Avoid| patient.avoids.contains(&what);

    if patient.neonate {
        report.about(order.of_items(&[ItemCategory::AdhesiveRemoverSpray]), "neonate-aerosol", &[]);
    }
    let latex = |stated: Option<bool>| order.lines(|line| line.latex == stated);
    let latex_allergy = is_allergic_to(order, "latex");
    if latex_allergy {
        report.about(latex(Some(true)), "latex-allergy", &[]);
    } else if avoids(Avoid::Latex) {
        report.about(latex(Some(true)), "latex-avoided", &[]);
    }
    if latex_allergy || avoids(Avoid::Latex) {
        report.about(latex(None), "latex-not-stated", &[]);
    }
    let mut what: Vec<&str> = [
        (Avoid::AnimalDerived, "parts of animal origin"),
        (Avoid::Porcine, "parts from pigs"),
        (Avoid::Bovine, "parts from cattle"),
    ]
    .into_iter()
    .filter_map(|(avoid, words)| avoids(avoid).then_some(words))
    .collect();
    if is_allergic_to(order, "gelatin") {
        what.push("gelatin");
    }
    if !what.is_empty() {
        let fills = [("what", what.join(", "))];
        report.about(order.lines(|line| line.animal_derived == Some(true)), "animal-derived-avoided", &fills);
        let unstated = |line: &Line| line.animal_derived.is_none() && may_hold_gelatin(line);
        report.about(order.lines(unstated), "animal-derived-not-stated", &fills);
    }
    if avoids(Avoid::Alcohol) || is_allergic_to(order, "alcohol") {
        report.about(order.of_items(&[ItemCategory::Paste]), "alcohol-in-paste", &[]);
        report.about(order.of_items(&FILMS), "alcohol-in-film", &[]);
    }
}

fn allergies(order: &Order<'_>, report: &mut Report) {
    let checked = ["latex", "gelatin", "alcohol"];
    let adhesive = ["adhesive", "plaster", "hydrocolloid", "colophon", "acryl"];
    for allergy in &order.request.patient.allergies {
        let lower = allergy.to_lowercase();
        let fills = [("what", allergy.trim().to_owned())];
        if adhesive.iter().any(|word| lower.contains(word)) {
            report.about(order.lines(may_hold_gelatin), "allergy-to-adhesive", &fills);
        } else if !checked.iter().any(|word| lower.contains(word)) {
            report.about(order.lines(|_| true), "allergy-not-checked", &fills);
        }
    }
}

/// Units used in the period, whatever is on hand.
fn need(order: &Order<'_>, line: &Line) -> i64 {
    let days = i64::from(order.request.period_days.days());
    (line.uses.per_day() * Ratio::from_integer(days)).ceil().to_integer()
}

fn amounts(order: &Order<'_>, report: &mut Report) {
    let days = order.request.period_days.days();
    let fills = [("days", days.to_string())];
    if days > TWO_MONTHS_DAYS {
        report.order("period-over-two-months", &fills);
    } else if days > MONTH_DAYS {
        report.order("period-over-a-month", &fills);
    }
    let stocked = |line: &Line| {
        let lasts = Ratio::from_integer(i64::from(line.on_hand)) / line.uses.per_day();
        let appliance = line.item.has_plate() || line.item.pouch().is_some();
        appliance && lasts > Ratio::from_integer(i64::from(TWO_MONTHS_DAYS))
    };
    report.about(order.lines(stocked), "stock-over-two-months", &[]);

    let of = |lines: &[usize]| -> i64 {
        lines.iter().filter_map(|index| order.request.lines.get(*index)).map(|line| need(order, line)).sum()
    };
    let sprays = order.of_items(&[ItemCategory::AdhesiveRemoverSpray]);
    let (cans, pouches) = (of(&sprays), of(&order.lines(|line| line.item.pouch().is_some())));
    let usual = per_boxes_begun(pouches, POUCHES_PER_BOX, CANS_PER_BOX);
    if pouches > 0 && cans > usual {
        let fills = [("cans", cans.to_string()), ("pouches", pouches.to_string()), ("usual", usual.to_string())];
        report.about(sprays, "remover-for-pouches", &fills);
    }
    pouches_together(order, report);
}

/// The Scottish figure counts the pouches of a person; a verdict looks at one line.
fn pouches_together(order: &Order<'_>, report: &mut Report) {
    for system in [System::OnePiece, System::TwoPiece] {
        let lines = order.lines(|line| line.item.pouch().is_some_and(|pouch| pouch.system == system));
        let verdicts: Vec<_> = lines
            .iter()
            .filter_map(|index| order.plans.get(*index))
            .filter_map(|plan| plan.verdicts.iter().find(|verdict| verdict.set == SetId::Scotland2015.code()))
            .collect();
        if verdicts.len() < 2 || verdicts.iter().any(|verdict| verdict.band == Band::Over) {
            continue;
        }
        let zero = Rational::from_integer(0);
        let sum = verdicts.iter().try_fold(zero, |sum, verdict| add(sum, verdict.rate?));
        let top = verdicts.first().and_then(|verdict| verdict.printed.top());
        if let (Some(sum), Some(top)) = (sum, top)
            && sum > top
        {
            let fills = [("rate", decimal_words(sum)), ("top", decimal_words(top))];
            report.about(lines, "pouches-together-over", &fills);
        }
    }
}

fn reasons(order: &Order<'_>, report: &mut Report) {
    for (index, line) in order.request.lines.iter().enumerate() {
        let Some(code) = &line.hcpcs else { continue };
        let row = order.sets.iter().find_map(|set| set.row_by_code(code));
        if let Some(row) = row.filter(|row| !row.items.is_empty() && !row.items.contains(&line.item)) {
            let fills = [("code", code.clone()), ("words", row.words.clone())];
            report.about(vec![index], "code-of-another-item", &fills);
        }
    }
    report.about(order.of_items(&[ItemCategory::SupportGarment]), "garment-measured", &[]);
    report.about(order.of_items(&[ItemCategory::DisposalBag, ItemCategory::DryWipe]), "given-free", &[]);
    let blank = |line: &Line| line.reason.as_deref().is_some_and(|reason| reason.trim().is_empty());
    report.about(order.lines(|line| line.item.is_accessory() && blank(line)), "accessory-without-reason", &[]);
}
