//! Reads thresholds from TOML and checks them, so that a mistyped rule is refused instead of never holding.
//!
//! It knows the form, not what any limit should be.

use serde::Deserialize;

use crate::follow_up::rules::facts::StomaKind;
use crate::provenance::{Source, Standing};

use super::band::Band;
use super::signals::{Answer, Signal};
use super::thresholds::{Condition, Rule, Test, Thresholds, ThresholdsError};

/// The words that every advice ends with.
const ESCALATION: &str = "follow your local escalation policy";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: String,
    bands: Source,
    rule: Vec<FileRule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileRule {
    id: String,
    signal: String,
    is: Option<Is>,
    at_least: Option<f64>,
    above: Option<f64>,
    at_most: Option<f64>,
    below: Option<f64>,
    #[serde(default)]
    with: Vec<FileCondition>,
    #[serde(default)]
    kinds: Vec<String>,
    band: String,
    text: String,
    advice: Option<String>,
    #[serde(default)]
    red_flag: bool,
    source: String,
    standing: Standing,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCondition {
    signal: String,
    is: Option<Is>,
    at_least: Option<f64>,
    above: Option<f64>,
    at_most: Option<f64>,
    below: Option<f64>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Is {
    Flag(bool),
    Word(String),
}

/// Reads and checks a set.
pub(super) fn read(text: &str) -> Result<Thresholds, ThresholdsError> {
    let file: File = toml::from_str(text).map_err(|fault| ThresholdsError::Form(fault.to_string()))?;
    let mut rules: Vec<Rule> = Vec::with_capacity(file.rule.len());
    for rule in file.rule {
        let id = rule.id.clone();
        let fault = |message: String| ThresholdsError::Rule { rule: id.clone(), message };
        if rules.iter().any(|known| known.id == id) {
            return Err(fault("is there twice: give each rule its own id".to_owned()));
        }
        rules.push(read_rule(rule).map_err(fault)?);
    }
    Ok(Thresholds { version: file.version, bands: file.bands, rules })
}

fn read_rule(rule: FileRule) -> Result<Rule, String> {
    let condition = read_condition(FileCondition {
        signal: rule.signal,
        is: rule.is,
        at_least: rule.at_least,
        above: rule.above,
        at_most: rule.at_most,
        below: rule.below,
    })?;
    let with = rule.with.into_iter().map(read_condition).collect::<Result<Vec<_>, _>>()?;
    let kinds = rule
        .kinds
        .iter()
        .map(|code| StomaKind::from_code(code).ok_or_else(|| format!("{code} is not a kind of stoma")))
        .collect::<Result<Vec<_>, _>>()?;
    let band = Band::from_code(&rule.band)
        .ok_or_else(|| format!("{} is not a band: write one of {}", rule.band, Band::ALL.map(Band::code).join(", ")))?;
    check_advice(band, rule.advice.as_deref())?;
    check_text(&rule.text, &with)?;
    if rule.red_flag && rule.advice.is_none() {
        return Err("is a red flag and needs advice".to_owned());
    }
    let source = Source { source: rule.source.into(), standing: rule.standing };
    Ok(Rule {
        id: rule.id,
        condition,
        with,
        kinds,
        band,
        text: rule.text,
        advice: rule.advice,
        red_flag: rule.red_flag,
        source,
    })
}

fn read_condition(condition: FileCondition) -> Result<Condition, String> {
    let FileCondition { signal: code, is, at_least, above, at_most, below } = condition;
    let signal = Signal::ALL
        .iter()
        .copied()
        .find(|signal| signal.code() == code)
        .ok_or_else(|| format!("{code} is not a signal"))?;
    let bounded = [at_least, above, at_most, below].iter().any(Option::is_some);
    let test = match (signal.answer(), is, bounded) {
        (Answer::Word(words), Some(Is::Word(word)), false) if words.contains(&word.as_str()) => Test::Word(word),
        (Answer::Word(words), ..) => return Err(format!("{code} needs `is` with one of {}", words.join(", "))),
        (Answer::Flag, Some(Is::Flag(flag)), false) => Test::Flag(flag),
        (Answer::Flag, ..) => return Err(format!("{code} needs `is` with true or false")),
        (_, None, true) => Test::Number { at_least, above, at_most, below },
        _ => return Err(format!("{code} needs at_least, above, at_most or below, and no `is`")),
    };
    Ok(Condition { signal, test })
}

fn check_advice(band: Band, advice: Option<&str>) -> Result<(), String> {
    match advice {
        Some(text) if !text.ends_with(ESCALATION) => Err(format!("its advice must end with \"{ESCALATION}\"")),
        None if band.wants_advice() => Err(format!("the band {} needs advice", band.code())),
        _ => Ok(()),
    }
}

/// Every `{name}` in a text must be one that can be filled in.
fn check_text(text: &str, with: &[Condition]) -> Result<(), String> {
    if text.trim().is_empty() {
        return Err("its text is empty: say why in words".to_owned());
    }
    for piece in text.split('{').skip(1) {
        let name = piece.split('}').next().unwrap_or_default();
        if name != "value" && !with.iter().any(|condition| condition.signal.code() == name) {
            return Err(format!("its text has {{{name}}}, which is neither value nor a signal named under `with`"));
        }
    }
    Ok(())
}
