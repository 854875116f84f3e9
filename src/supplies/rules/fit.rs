//! Findings about fit: the parts of the system, opening, size, shape, wear, and whether the item suits the stoma.
//!
//! Lengths are compared in tenths of a millimetre, so that 30.1 and 32.1 are 2 mm apart. Words and sources of each
//! rule stand in `findings.toml`.

use super::findings::{Order, Report};
use super::items::{ItemCategory, PouchKind, System};
use super::order::{Convexity, Line, StomaFinding, StomaKind};
use super::quantity::Rational;

/// Usual width of an adult's stoma (pharmacist reference chapter on ostomy care, 2019; read).
const USUAL_STOMA_TENTHS: std::ops::RangeInclusive<i64> = 200..=500;
/// Least clearance all round: UK teaching is an opening 2–3 mm larger, so 1 mm on each side
/// (Br J Community Nurs 2019;24(9); read).
const LEAST_GAP_TENTHS: i64 = 10;
/// Most clearance all round: US teaching is 1/16–1/8 inch, 1.6–3.2 mm (Methodist Health System library, 2020; read).
const MOST_GAP_TENTHS: i64 = 30;
/// Longest wear in days (a Canadian ostomy pharmacy, makers' usual limit; read).
const LONGEST_WEAR_DAYS: i64 = 7;
/// Swelling goes down over about six weeks (Canadian Society of Intestinal Research; read).
const SETTLING_WEEKS: u32 = 6;
/// The first six months of the expert panel on convexity (J Wound Ostomy Continence Nurs 2022;49(3):240–246; read).
const FIRST_MONTHS_WEEKS: u32 = 26;

pub(super) fn check(order: &Order<'_>, report: &mut Report) {
    system(order, report);
    opening(order, report);
    wear(order, report);
    convexity(order, report);
    suits_stoma(order, report);
}

fn is_two_piece_pouch(line: &Line) -> bool {
    line.item.pouch().is_some_and(|pouch| pouch.system == System::TwoPiece)
}

fn is_one_piece_pouch(line: &Line) -> bool {
    line.item.pouch().is_some_and(|pouch| pouch.system == System::OnePiece)
}

fn system(order: &Order<'_>, report: &mut Report) {
    let flanges = order.of_items(&[ItemCategory::Flange]);
    let pouches = order.lines(is_two_piece_pouch);
    let one_piece = order.lines(is_one_piece_pouch);
    match (flanges.is_empty(), pouches.is_empty()) {
        (false, true) if !one_piece.is_empty() => report.about(flanges, "one-piece-with-flange", &[]),
        (false, true) => report.about(flanges, "flange-without-pouch", &[]),
        (true, false) => report.about(pouches.clone(), "two-piece-without-flange", &[]),
        (false, false) => couplings(order, &pouches, &flanges, report),
        (true, true) => {}
    }
    if !order.request.patient.difficulties.is_empty() {
        report.about(pouches, "two-piece-handling", &[]);
    }
    let tap = |line: &Line| line.item.pouch().is_some_and(|pouch| pouch.kind == PouchKind::Urostomy);
    if !order.lines(tap).is_empty() {
        report.about(order.of_items(&[ItemCategory::NightBag, ItemCategory::LegBag]), "connector-match", &[]);
    }
}

/// Each pouch needs a flange it may join, and each flange a pouch. What is not stated contradicts nothing.
fn couplings(order: &Order<'_>, pouches: &[usize], flanges: &[usize], report: &mut Report) {
    let line = |index: &usize| order.request.lines.get(*index);
    let size_joins = |a: &Line, b: &Line| match (a.coupling_mm, b.coupling_mm) {
        (Some(a), Some(b)) => tenths(a) == tenths(b),
        _ => true,
    };
    let type_joins = |a: &Line, b: &Line| a.coupling.is_none() || b.coupling.is_none() || a.coupling == b.coupling;
    let (mut wrong_size, mut wrong_type) = (Vec::new(), Vec::new());
    for (own, others) in [(pouches, flanges), (flanges, pouches)] {
        for (index, part) in own.iter().filter_map(|index| Some((*index, line(index)?))) {
            let fitting: Vec<&Line> = others.iter().filter_map(line).filter(|other| size_joins(part, other)).collect();
            if fitting.is_empty() {
                wrong_size.push(index);
            } else if !fitting.iter().any(|other| type_joins(part, other)) {
                wrong_type.push(index);
            }
        }
    }
    // Both sides of a mismatch are named, also the one that has a fitting partner as well.
    let both = || pouches.iter().chain(flanges).filter_map(line);
    let sizes = list(both().filter_map(|line| line.coupling_mm).map(millimetres));
    let types = list(both().filter_map(|line| line.coupling).map(|coupling| coupling.code().to_owned()));
    report.about(sorted(wrong_size), "coupling-size-mismatch", &[("sizes", sizes)]);
    report.about(sorted(wrong_type), "coupling-type-mismatch", &[("types", types)]);
    let unstated =
        |index: &usize| line(index).is_some_and(|line| line.coupling_mm.is_none() || line.coupling.is_none());
    let unstated = pouches.iter().chain(flanges).copied().filter(unstated).collect();
    report.about(sorted(unstated), "coupling-not-stated", &[]);
}

fn opening(order: &Order<'_>, report: &mut Report) {
    let stoma = &order.request.stoma;
    let sizes: Vec<i64> = [stoma.width_mm, stoma.height_mm].into_iter().flatten().map(tenths).collect();
    let (least, most) = (sizes.iter().min(), sizes.iter().max());
    for (index, line) in order.request.lines.iter().enumerate() {
        let Some(aperture) = line.aperture_mm else { continue };
        let opening = tenths(aperture);
        if let (Some(least), Some(most)) = (least, most) {
            let fills = [("opening", millimetres(aperture)), ("stoma", size_words(*least, *most))];
            if opening < *most {
                report.about(vec![index], "opening-smaller", &fills);
            } else if opening - most < 2 * LEAST_GAP_TENTHS {
                report.about(vec![index], "opening-tight", &fills);
            }
            if opening - least > 2 * MOST_GAP_TENTHS {
                report.about(vec![index], "opening-wide", &fills);
            }
        }
        if let (ItemCategory::Flange, Some(coupling)) = (line.item, line.coupling_mm)
            && opening >= tenths(coupling)
        {
            let fills = [("opening", millimetres(aperture)), ("coupling", millimetres(coupling))];
            report.about(vec![index], "opening-reaches-coupling", &fills);
        }
    }
    if let (Some(least), Some(most)) = (least, most)
        && !(USUAL_STOMA_TENTHS.contains(least) && USUAL_STOMA_TENTHS.contains(most))
    {
        report.order("stoma-size-unusual", &[("size", size_words(*least, *most))]);
    }
}

fn wear(order: &Order<'_>, report: &mut Report) {
    let on_skin = |line: &Line| line.item.has_plate() || line.item.pouch().is_some();
    let long = |line: &Line| on_skin(line) && line.uses.per_day() < Rational::new(1, LONGEST_WEAR_DAYS);
    report.about(order.lines(long), "wear-over-seven-days", &[]);
    let Some(weeks) = order.request.stoma.weeks_since_surgery else { return };
    let fills = [("weeks", weeks.to_string())];
    if weeks < SETTLING_WEEKS {
        let (precut, other) = (|line: &Line| line.precut == Some(true), |line: &Line| line.precut != Some(true));
        report.about(order.lines(|line| line.item.has_plate() && precut(line)), "precut-too-early", &fills);
        report.about(order.lines(|line| line.item.has_plate() && other(line)), "first-weeks", &fills);
    }
}

fn convexity(order: &Order<'_>, report: &mut Report) {
    let stoma = &order.request.stoma;
    let convex =
        order.lines(|line| (line.item.has_plate() && line.is_convex()) || line.item == ItemCategory::ConvexInsert);
    let caution = [StomaFinding::Separation, StomaFinding::Ulceration, StomaFinding::Hernia, StomaFinding::Varices];
    if let Some(findings) = recorded(order, &caution) {
        report.about(convex.clone(), "convexity-caution", &[("findings", findings)]);
    }
    if stoma.findings.contains(&StomaFinding::RapidPainfulUlcer) {
        report.about(convex.clone(), "convexity-rapid-ulcer", &[]);
    }
    if stoma.weeks_since_surgery.is_some_and(|weeks| weeks < FIRST_MONTHS_WEEKS) {
        report.about(convex.clone(), "convexity-first-months", &[]);
    }
    report.about(order.lines(|line| line.convexity == Some(Convexity::DeepConvex)), "convexity-deep", &[]);

    let low = recorded(order, &[StomaFinding::Retraction, StomaFinding::Flush, StomaFinding::Creases])
        .or_else(|| stoma.protrusion_mm.filter(|mm| *mm <= 0.0).map(|_| "no protrusion".to_owned()));
    if let (Some(findings), true) = (low, convex.is_empty()) {
        let flat = |line: &Line| line.item.has_plate() && line.convexity == Some(Convexity::Flat);
        report.about(order.lines(flat), "flat-on-low-stoma", &[("findings", findings)]);
    }
    let caution =
        [StomaFinding::BrokenSkin, StomaFinding::Ulceration, StomaFinding::RapidPainfulUlcer, StomaFinding::Varices];
    if let Some(findings) = recorded(order, &caution) {
        report.about(order.of_items(&[ItemCategory::Belt]), "belt-caution", &[("findings", findings)]);
    }
}

fn suits_stoma(order: &Order<'_>, report: &mut Report) {
    let stoma = &order.request.stoma;
    for (index, line) in order.request.lines.iter().enumerate() {
        let Some(pouch) = line.item.pouch() else { continue };
        let kinds = StomaKind::CHOICES.iter().map(|(_, kind)| *kind).filter(|kind| stoma.is(*kind));
        // With two stomas a pouch that suits either is right.
        let rules: Option<Vec<&str>> = kinds.map(|kind| unusual_pouch(pouch.kind, kind)).collect();
        if let Some(rule) = rules.as_deref().and_then(<[&str]>::first) {
            report.about(vec![index], rule, &[]);
        }
    }
    let irrigation = order.of_items(&[ItemCategory::IrrigationKit, ItemCategory::IrrigationSleeve]);
    if stoma.is(StomaKind::Colostomy) {
        if let Some(findings) = recorded(order, &[StomaFinding::Hernia, StomaFinding::Prolapse]) {
            report.about(irrigation.clone(), "irrigation-caution", &[("findings", findings)]);
        }
        report.about(irrigation, "irrigation-colostomy", &[]);
    } else {
        report.about(irrigation, "irrigation-not-colostomy", &[]);
        report.about(order.of_items(&[ItemCategory::StomaPlug]), "plug-not-colostomy", &[]);
        report.about(order.of_items(&[ItemCategory::StomaCap]), "cap-not-colostomy", &[]);
    }
    let thickeners = order.of_items(&[ItemCategory::Thickener]);
    if stoma.kind == StomaKind::Urostomy {
        report.about(thickeners, "thickener-on-urostomy", &[]);
    } else if !stoma.findings.contains(&StomaFinding::LooseOutput) {
        report.about(thickeners, "thickener-look-for-cause", &[]);
    }
    if !stoma.is(StomaKind::Urostomy) {
        report.about(order.of_items(&[ItemCategory::NightBag, ItemCategory::LegBag]), "drainage-bag-bowel-stoma", &[]);
    }
}

/// The rule for a pouch that is not usual with this stoma; `None` when it is.
fn unusual_pouch(pouch: PouchKind, stoma: StomaKind) -> Option<&'static str> {
    match (pouch, stoma) {
        (PouchKind::Closed, StomaKind::Urostomy) => Some("closed-on-urostomy"),
        (PouchKind::Closed, StomaKind::Ileostomy) => Some("closed-on-ileostomy"),
        (PouchKind::Drainable, StomaKind::Urostomy) => Some("drainable-on-urostomy"),
        (PouchKind::Urostomy, StomaKind::Colostomy) => Some("tap-on-colostomy"),
        (PouchKind::Urostomy, StomaKind::Ileostomy) => Some("tap-on-ileostomy"),
        _ => None,
    }
}

/// Those of `which` that were recorded, in words; `None` when none was.
fn recorded(order: &Order<'_>, which: &[StomaFinding]) -> Option<String> {
    let found = which.iter().filter(|finding| order.request.stoma.findings.contains(finding));
    let words = list(found.map(|finding| finding.words().to_owned()));
    (!words.is_empty()).then_some(words)
}

/// Tenths of a millimetre. Lengths are bounded where they are read; a wilder one saturates.
#[expect(clippy::cast_possible_truncation, reason = "saturates, and the bounds of the input are far below")]
fn tenths(mm: f64) -> i64 {
    (mm * 10.0).round() as i64
}

fn millimetres(mm: f64) -> String {
    let tenths = tenths(mm);
    if tenths % 10 == 0 { (tenths / 10).to_string() } else { format!("{}.{}", tenths / 10, (tenths % 10).abs()) }
}

#[expect(clippy::cast_precision_loss, reason = "tenths of a millimetre are small")]
fn size_words(least: i64, most: i64) -> String {
    let (least, most) = (millimetres(least as f64 / 10.0), millimetres(most as f64 / 10.0));
    if least == most { most } else { format!("{least} by {most}") }
}

fn list(words: impl Iterator<Item = String>) -> String {
    let mut words: Vec<String> = words.collect();
    let mut seen = std::collections::BTreeSet::new();
    words.retain(|word| seen.insert(word.clone()));
    words.join(", ")
}

fn sorted(mut lines: Vec<usize>) -> Vec<usize> {
    lines.sort_unstable();
    lines
}
