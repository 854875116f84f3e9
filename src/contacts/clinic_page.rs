//! The clinic form as a page: questions in clinical order, and what was found shown before it is signed.

use askama::Template;
use chrono::NaiveDate;

use super::clinic_advice::Advice;
use super::clinic_form::{ClinicForm, Wrong};
use super::clinic_map_page::{MapInput, map_input};
use super::clinic_other::OtherVisit;
use super::clinic_words::{ALSO, COLOURS, CONSISTENCIES, FLAG_ANSWERS, MODES, SHAPES, SKIN_TONES, STOMA_FINDINGS};
use crate::dates_in;
use crate::display;
use crate::drafts::Draft;
use crate::follow_up::store::Review;
use crate::skin::domains::{DomainQuestion, questions};
use crate::skin::rules::{Domain, MapCell, causes, wording};
use crate::skin::store::{AssessmentRow, StomaFound};
use crate::stomas::store::Stoma;
use crate::web::form_view::{Choice, ErrorSummary, Field, Question, Width};
use crate::web::shell::Shell;
use crate::web::views::PatientBanner;

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
    /// Red flags: what was found, what to do.
    pub red_flags: Vec<(String, String)>,
    /// How the stoma changed since last time.
    pub stoma_change: Vec<String>,
    /// Codes that fit, for whoever has to code.
    pub codes: Vec<String>,
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
    pub other: Option<OtherVisit>,
    pub leaks: Field,
    pub leak_hour: Field,
    pub wear: Field,
    pub pouch_off: Field,
    pub pain: Field,
    pub itch: Field,
    pub burning: Field,
    pub output: Field,
    pub consistency: Question,
    pub no_output: Field,
    pub belly: Field,
    pub told: Field,
    pub stoma_same: Option<Question>,
    pub width: Field,
    pub height: Field,
    pub protrusion: Field,
    pub shape: Question,
    pub gap: Field,
    pub plate: Field,
    pub plate_left: Field,
    pub plate_head: Field,
    pub colour: Question,
    pub stoma_findings: Question,
    pub parted_from: Field,
    pub parted_to: Field,
    pub prolapse: Field,
    pub bulge: Field,
    pub skin_clear: Question,
    pub skin_tone: Question,
    pub map: MapInput,
    pub area_reason: Field,
    pub advice: Advice,
    pub signs: Question,
    pub red_flag: Question,
    pub red_flag_reason: Field,
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
    /// What was marked then.
    pub last_cells: &'a [MapCell],
    /// Measures that would count now.
    pub measures: &'a StomaFound,
    /// Letter of the stoma kind.
    pub letter: String,
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
    (checked, advice, other): (Option<Checked>, Advice, Option<OtherVisit>),
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
        let words = format!("From {}, confirm: {}", display::short_date(last.assessed_on), measures_words(found));
        pick("stoma_same", "Size", &form.stoma_same, vec![Choice::new("yes", words), Choice::new("no", "Measured now")])
    });
    // A short list may be left unanswered; it says so instead of leaving a blank.
    let choose = |name: &str, label: &str, value: &str, list: &[(&str, &str)]| {
        let mut all = vec![Choice::new("", "Not said")];
        all.extend(choices(list));
        Question { field: field(name, label, "").optional(), choices: Choice::choose(all, value) }
    };
    let set = causes::shipped();
    let cause_list = set.map_or_else(|_| Vec::new(), |set| set.choices().map(|(c, w)| Choice::new(c, w)).collect());
    let sign_list = set.map_or_else(
        |_| Vec::new(),
        |set| {
            let chosen = |id: &String| form.signs.contains(id);
            set.asked().map(|s| Choice::new(&*s.id, &*s.words).checked(chosen(&s.id))).collect()
        },
    );
    let last = context.last.zip(context.last_found).map(|(row, found)| (row, found, context.last_cells));
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
            ("base", &form.base),
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
        other,
        leak_hour: number("leak_hour", "The leak runs at", &form.leak_hour, "o'clock"),
        wear: number("wear", "Usual wear", &form.wear, "days"),
        pouch_off: number("pouch_off", "Pouch off unplanned", &form.pouch_off, "times a day"),
        pain: number("pain", "Pain of the skin", &form.pain, "0 to 10"),
        itch: number("itch", "Itch", &form.itch, "0 to 10"),
        burning: number("burning", "Burning", &form.burning, "0 to 10"),
        output: number("output", "Output", &form.output, "mL in 24 h"),
        consistency: choose("consistency", "Consistency", &form.consistency, &CONSISTENCIES),
        no_output: number("no_output", "No output for", &form.no_output, "hours"),
        belly: number("belly", "Pain of the belly", &form.belly, "0 to 10"),
        told: field("told", "What the patient told", &form.told).width(Width::Full).optional(),
        stoma_same: same,
        width: number("width", "Width, left to right", &form.width, "mm"),
        height: number("height", "Height, head to foot", &form.height, "mm"),
        protrusion: number("protrusion", "Protrusion", &form.protrusion, "mm"),
        shape: choose("shape", "Shape", &form.shape, &SHAPES),
        gap: number("gap", "Gap between stoma and opening, all round", &form.gap, "mm"),
        plate: number("plate", "Plate, diameter of the adhesive", &form.plate, "mm"),
        plate_left: number("plate_left", "its centre towards the patient's left", &form.plate_left, "mm"),
        plate_head: number("plate_head", "and towards the head", &form.plate_head, "mm"),
        parted_from: number("parted_from", "Edge parted from", &form.parted_from, "o'clock"),
        parted_to: number("parted_to", "to", &form.parted_to, "o'clock"),
        prolapse: number("prolapse", "Slid out by", &form.prolapse, "mm"),
        bulge: number("bulge", "Width of the bulge", &form.bulge, "mm"),
        skin_tone: choose("skin_tone", "Tone of the patient's own skin", &form.skin_tone, &SKIN_TONES),
        map: map_input(form, wrong, context.letter.clone(), last, context.measures),
        area_reason: field("area_reason", "Why an area is judged otherwise than the map gives it", &form.area_reason)
            .width(Width::Full)
            .optional(),
        advice,
        signs: Question { field: field("signs", "Seen or told, for the cause", "").optional(), choices: sign_list },
        red_flag: pick("red_flag", "What happens with it?", &form.red_flag, choices(&FLAG_ANSWERS)),
        red_flag_reason: field("red_flag_reason", "To whom it was handed on, or why not", &form.red_flag_reason)
            .width(Width::Full),
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
        cause: pick("cause", "Likely cause, as you decide", &form.cause, cause_list),
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
    let error = |domain: Domain| wrong.iter().find(|(n, _)| n.starts_with(domain.code())).map(|(_, text)| text.clone());
    questions(form.domains(), Domain::ALL.map(error))
}

/// Measures in words, as they were found.
pub fn measures_words(found: &StomaFound) -> String {
    let mm = |what: &str, n: Option<i32>| n.map(|n| format!("{what} {n} mm"));
    let plate = found.plate.map(|p| match (p.to_left_mm, p.to_head_mm) {
        (0, 0) => format!("plate {} mm, centred", p.diameter_mm),
        (left, head) => format!("plate {} mm, centre {left} mm to the left and {head} mm up", p.diameter_mm),
    });
    let known: Vec<String> = [
        mm("width", found.width_mm),
        mm("height", found.height_mm),
        mm("protrusion", found.protrusion_mm),
        found.shape.clone(),
        found.gap_mm.map(|gap| format!("gap {gap} mm")),
        plate,
    ]
    .into_iter()
    .flatten()
    .collect();
    if known.is_empty() { "nothing measured".to_owned() } else { known.join(", ") }
}

fn errors(page: &ClinicPage) -> ErrorSummary {
    let mut summary = ErrorSummary::none();
    summary.take(&page.red_flag.field);
    summary.take(&page.red_flag_reason);
    let first = page.amend_reason.iter().chain(page.stoma.iter().map(|q| &q.field));
    for f in first.chain([&page.mode.field, &page.review.field, &page.on, &page.leaks, &page.leak_hour, &page.wear]) {
        summary.take(f);
    }
    for f in [&page.pouch_off, &page.pain, &page.itch, &page.burning, &page.output, &page.consistency.field] {
        summary.take(f);
    }
    for f in [&page.no_output, &page.belly, &page.told].into_iter().chain(page.stoma_same.iter().map(|q| &q.field)) {
        summary.take(f);
    }
    for f in [&page.width, &page.height, &page.protrusion, &page.shape.field, &page.gap, &page.plate] {
        summary.take(f);
    }
    for f in [&page.plate_left, &page.plate_head, &page.colour.field, &page.stoma_findings.field, &page.parted_from] {
        summary.take(f);
    }
    for f in [&page.parted_to, &page.prolapse, &page.bulge, &page.skin_clear.field, &page.skin_tone.field] {
        summary.take(f);
    }
    if let Some(error) = &page.map.error {
        summary.push("map", error.clone());
    }
    for question in &page.map.range {
        summary.take(&question.field);
    }
    for d in &page.domains {
        if let Some(error) = &d.error {
            summary.push(d.area.field.id.clone(), error.clone());
        }
    }
    let last = page.next.iter().map(|q| &q.field);
    for f in [&page.area_reason, &page.also.field, &page.cause.field, &page.plan].into_iter().chain(last) {
        summary.take(f);
    }
    summary.take(&page.next_on);
    summary.take(&page.next_reason);
    summary
}
