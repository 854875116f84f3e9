//! The clinic form as a page: questions in clinical order, and what was found shown before it is signed.

use askama::Template;
use chrono::NaiveDate;

use super::clinic_form::{ALSO, AREAS, CAUSES, COLOURS, ClinicForm, MODES, STOMA_FINDINGS, Wrong};
use crate::dates_in;
use crate::display;
use crate::drafts::Draft;
use crate::follow_up::store::Review;
use crate::skin::rules::{Domain, wording};
use crate::skin::store::{AssessmentRow, StomaFound};
use crate::stomas::store::Stoma;
use crate::web::form_view::{Choice, ErrorSummary, Field, Question, Width};
use crate::web::shell::Shell;
use crate::web::views::PatientBanner;

/// One domain of the score sheet.
pub struct DomainQuestion {
    /// Code.
    pub key: String,
    /// Title.
    pub name: String,
    /// What counts, what to feel first.
    pub help: String,
    /// What is wrong.
    pub error: Option<String>,
    /// Area.
    pub area: Question,
    /// Severity.
    pub severity: Question,
    /// Points as last counted, or a dash.
    pub points: String,
}

/// What the rules found, shown before signing.
#[derive(Default)]
pub struct Checked {
    /// "Wed 25-Nov-2026": how the date was read.
    pub held: String,
    /// "Score 7 of 15".
    pub score: String,
    /// Bands with source and standing.
    pub bands: Vec<String>,
    /// Change since last time, with caution.
    pub change: Vec<String>,
    /// Urgent reasons with source.
    pub reasons: Vec<String>,
    /// What to do meanwhile.
    pub advice: Vec<String>,
    /// Next review: proposal with reasons.
    pub proposal: Vec<String>,
}

/// `GET /patients/{id}/contacts/new`
#[derive(Template)]
#[template(path = "contacts/clinic.html")]
#[allow(missing_docs, reason = "one field per question of the form")]
pub struct ClinicPage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub errors: ErrorSummary,
    pub heading: String,
    pub standfirst: String,
    pub action: String,
    pub hidden: Vec<(String, String)>,
    pub amend_reason: Option<Field>,
    pub checked: Option<Checked>,
    pub stoma: Option<Question>,
    pub mode: Question,
    pub review: Question,
    pub on: Field,
    pub leaks: Field,
    pub wear: Field,
    pub pain: Field,
    pub output: Field,
    pub told: Field,
    pub stoma_same: Option<Question>,
    pub width: Field,
    pub height: Field,
    pub protrusion: Field,
    pub colour: Question,
    pub stoma_findings: Question,
    pub skin_clear: Question,
    pub before_scoring: String,
    pub colour_hint: String,
    pub domains: Vec<DomainQuestion>,
    pub total: String,
    pub also: Question,
    pub cause: Question,
    pub plan: Field,
    pub next: Option<Question>,
    pub next_on: Field,
    pub next_reason: Field,
    pub button: String,
    pub draft: Draft,
}

/// What a page is built from besides the form.
pub struct Context<'a> {
    /// Stomas under care.
    pub stomas: &'a [Stoma],
    /// The review that this may be.
    pub review: Option<&'a Review>,
    /// The open review after that.
    pub following: Option<&'a Review>,
    /// The last assessment of the stoma.
    pub last: Option<&'a AssessmentRow>,
    /// What was found then.
    pub last_found: Option<&'a StomaFound>,
    /// Today, to read dates by.
    pub today: NaiveDate,
}

fn choices(list: &[(&str, &str)]) -> Vec<Choice> {
    list.iter().map(|(code, word)| Choice::new(*code, *word)).collect()
}

fn tick(list: &[(&str, &str)], chosen: &[String]) -> Vec<Choice> {
    list.iter().map(|(code, word)| Choice::new(*code, *word).checked(chosen.iter().any(|c| c == code))).collect()
}

/// Builds the page.
pub fn build(
    shell: Shell,
    banner: PatientBanner,
    form: &ClinicForm,
    wrong: &Wrong,
    context: &Context<'_>,
    checked: Option<Checked>,
    fingerprint: &str,
) -> ClinicPage {
    let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
    let field = |name: &str, label: &str, value: &str| Field::new(name, label).value(value).error(error(name));
    let number = |name: &str, label: &str, value: &str, unit: &str| {
        field(name, label, value).unit(unit).width(Width::Short).optional()
    };
    let pick = |name: &str, label: &str, value: &str, list: Vec<Choice>| Question {
        field: field(name, label, ""),
        choices: Choice::choose(list, value),
    };
    let amending = form.is_amendment();
    let review = match context.review {
        Some(r) => {
            let when = display::weekday_date(r.due_on());
            vec![
                Choice::new(r.id.to_string(), format!("Yes: {}, {when}", r.title)),
                Choice::new("no", "No, besides the plan"),
            ]
        }
        None => vec![Choice::new("no", "No, besides the plan")],
    };
    let mut next = Vec::new();
    if let Some(r) = context.following {
        next.push(Choice::new("planned", format!("As planned: {}, {}", r.title, display::weekday_date(r.due_on()))));
    }
    next.push(Choice::new("proposed", "As the findings propose").hint("Shown with its reasons before you sign"));
    next.push(Choice::new("other", "On another day"));
    let same = context.last.zip(context.last_found).filter(|_| !amending).map(|(last, found)| {
        let mm = |n: Option<i32>| n.map_or_else(|| "not measured".to_owned(), |n| format!("{n} mm"));
        let words = format!(
            "As on {}: width {}, height {}, protrusion {}",
            display::short_date(last.assessed_on),
            mm(found.width_mm),
            mm(found.height_mm),
            mm(found.protrusion_mm)
        );
        pick("stoma_same", "Size", &form.stoma_same, vec![Choice::new("yes", words), Choice::new("no", "Measured now")])
    });
    let mut page = ClinicPage {
        shell,
        banner,
        errors: ErrorSummary::none(),
        heading: if amending { "Amend the assessment" } else { "Record a contact" }.to_owned(),
        standfirst: if amending {
            "The assessment as it was stays readable; this one takes its place.".to_owned()
        } else {
            match context.last {
                Some(last) => {
                    format!("Last assessed {}: score {} of 15.", display::short_date(last.assessed_on), last.score)
                }
                None => "First skin assessment in this record.".to_owned(),
            }
        },
        action: format!("/patients/{}/contacts/new", form.patient),
        hidden: [
            ("patient", &form.patient),
            ("once", &form.once),
            ("assessment", &form.assessment),
            ("amends", &form.amends),
        ]
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value.clone()))
        .chain([("checked".to_owned(), fingerprint.to_owned())])
        .collect(),
        amend_reason: amending
            .then(|| field("amend_reason", "Why it is amended", &form.amend_reason).width(Width::Full)),
        button: if amending { "Sign the amendment" } else { "Sign" }.to_owned(),
        stoma: (context.stomas.len() > 1).then(|| {
            let list = context.stomas.iter().map(|s| Choice::new(s.id.to_string(), s.words())).collect();
            pick("stoma", "Which stoma", &form.stoma, list)
        }),
        mode: pick("mode", "How", &form.mode, choices(&MODES)),
        review: pick("review", "Was this the planned review?", &form.review, review),
        on: field("on", "When", &form.on)
            .hint("27 Nov 2026, or today")
            .offers(dates_in::offers(&form.on, context.today)),
        leaks: number("leaks", "Leaks in the last 10 changes", &form.leaks, "of 10"),
        wear: number("wear", "Usual wear", &form.wear, "days"),
        pain: number("pain", "Pain of the skin", &form.pain, "0 to 10"),
        output: number("output", "Output", &form.output, "mL in 24 h"),
        told: field("told", "What the patient told", &form.told).width(Width::Full).optional(),
        stoma_same: same,
        width: number("width", "Width, left to right", &form.width, "mm"),
        height: number("height", "Height, head to foot", &form.height, "mm"),
        protrusion: number("protrusion", "Protrusion", &form.protrusion, "mm"),
        colour: pick("colour", "Colour of the stoma", &form.colour, choices(&COLOURS)),
        stoma_findings: Question {
            field: field("stoma_findings", "Also found", "").optional(),
            choices: tick(&STOMA_FINDINGS, &form.stoma_findings),
        },
        skin_clear: pick(
            "skin_clear",
            "Is the skin under the adhesive clear all round?",
            &form.skin_clear,
            vec![Choice::new("yes", "Clear all round"), Choice::new("no", "Not clear: score it")],
        ),
        before_scoring: wording::BEFORE_SCORING.to_owned(),
        colour_hint: wording::COLOUR_HINT.to_owned(),
        domains: domains(form, wrong),
        total: checked.as_ref().map_or_else(|| "–".to_owned(), |c| c.score.clone()),
        also: Question {
            field: field("also", "Told or seen besides", "").optional(),
            choices: tick(&ALSO, &form.also),
        },
        cause: pick("cause", "Likely cause", &form.cause, choices(&CAUSES)),
        plan: field("plan", "Plan", &form.plan).width(Width::Full).optional(),
        next: (!amending).then(|| pick("next", "Next review", &form.next, next)),
        next_on: field("next_on", "Day", &form.next_on)
            .hint("27 Nov 2026, or +6w")
            .offers(dates_in::offers(&form.next_on, context.today))
            .optional(),
        next_reason: field("next_reason", "Why this day", &form.next_reason).width(Width::Full).optional(),
        checked,
        draft: Draft::default(),
    };
    page.cause.field.optional = true;
    page.errors = errors(&page);
    page
}

fn domains(form: &ClinicForm, wrong: &Wrong) -> Vec<DomainQuestion> {
    let typed = [
        (Domain::Discolouration, &form.discolouration_area, &form.discolouration_severity),
        (Domain::Erosion, &form.erosion_area, &form.erosion_severity),
        (Domain::Overgrowth, &form.overgrowth_area, &form.overgrowth_severity),
    ];
    typed
        .into_iter()
        .map(|(domain, area, severity)| {
            let words = wording::domain_words(domain);
            let key = domain.code();
            let error = wrong.iter().find(|(n, _)| n.starts_with(key)).map(|(_, text)| text.clone());
            let severities =
                words.severity.iter().enumerate().map(|(i, text)| Choice::new(i.to_string(), *text)).collect();
            let points = area.parse::<u8>().ok().zip(severity.parse::<u8>().ok()).map(|(a, s)| (a + s).to_string());
            DomainQuestion {
                key: key.to_owned(),
                name: words.title.to_owned(),
                help: format!("{} {} {}", words.what, words.every_skin_tone, words.colour),
                error,
                area: Question {
                    field: Field::new(format!("{key}_area"), "Area"),
                    choices: Choice::choose(choices(&AREAS), area),
                },
                severity: Question {
                    field: Field::new(format!("{key}_severity"), "Severity"),
                    choices: Choice::choose(severities, severity),
                },
                points: points.unwrap_or_else(|| "–".to_owned()),
            }
        })
        .collect()
}

fn errors(page: &ClinicPage) -> ErrorSummary {
    let mut summary = ErrorSummary::none();
    let first = page.amend_reason.iter().chain(page.stoma.iter().map(|q| &q.field));
    for f in first.chain([&page.mode.field, &page.review.field, &page.on, &page.leaks, &page.wear, &page.pain]) {
        summary.take(f);
    }
    for f in [&page.output, &page.told].into_iter().chain(page.stoma_same.iter().map(|q| &q.field)) {
        summary.take(f);
    }
    for f in [&page.width, &page.height, &page.protrusion, &page.colour.field, &page.stoma_findings.field] {
        summary.take(f);
    }
    summary.take(&page.skin_clear.field);
    for d in &page.domains {
        if let Some(error) = &d.error {
            summary.push(d.area.field.id.clone(), error.clone());
        }
    }
    let last = page.next.iter().map(|q| &q.field);
    for f in [&page.also.field, &page.cause.field, &page.plan].into_iter().chain(last) {
        summary.take(f);
    }
    summary.take(&page.next_on);
    summary.take(&page.next_reason);
    summary
}
