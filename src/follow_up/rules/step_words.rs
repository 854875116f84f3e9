//! A step in words for a page: when it is due, for which stomas. It decides nothing.

use super::protocol::{Protocol, Shape, Step};

impl Step {
    /// What a page calls it.
    pub fn name(&self) -> &str {
        self.title.as_deref().unwrap_or(&self.id)
    }

    /// "by 14 days after discharge", "12 months after surgery, then every 12 months".
    pub fn when_words(&self) -> String {
        let anchor = self.anchor.words();
        let when = match self.shape {
            Shape::By(offset) => format!("by {} after {anchor}", offset.words()),
            Shape::At(offset) => format!("{} after {anchor}", offset.words()),
            Shape::Window { from, to } => format!("from {} to {} after {anchor}", from.words(), to.words()),
        };
        let repeat = self.repeat.map(|every| format!(", then every {}", every.words())).unwrap_or_default();
        format!("{when}{repeat}")
    }

    /// "all", or the limits: "ileostomy, loop".
    pub fn only_words(&self) -> String {
        let mut only: Vec<&str> = self.when.kind.iter().map(|k| k.words()).collect();
        only.extend(self.when.construction.iter().map(|c| c.words()));
        only.extend(self.when.permanence.iter().map(|p| p.words()));
        only.extend(self.when.surgery.iter().map(|s| s.words()));
        if only.is_empty() { "all".to_owned() } else { only.join(", ") }
    }
}

/// What distinguishes two versions, one sentence each; empty when they plan the same and say the same.
pub fn compare(before: &Protocol, after: &Protocol) -> Vec<String> {
    let mut said = Vec::new();
    let mut differs = |what: &str, from: &str, to: &str| {
        if from != to {
            let words = |text: &str| if text.is_empty() { "nothing".to_owned() } else { format!("“{text}”") };
            said.push(format!("{what}: was {}, is {}.", words(from), words(to)));
        }
    };
    differs("Title", &before.title, &after.title);
    differs("Source", &before.source, &after.source);
    differs("Standing", before.standing.words(), after.standing.words());
    differs("Note", before.note.as_deref().unwrap_or(""), after.note.as_deref().unwrap_or(""));
    for step in &after.steps {
        let Some(old) = before.step(&step.id) else {
            let (name, when, mode, only) = (step.name(), step.when_words(), step.mode.words(), step.only_words());
            said.push(format!("New step “{name}”: {when}, {mode}, for {only}."));
            continue;
        };
        let mut changes = Vec::new();
        for (what, from, to) in [
            ("called", old.name().to_owned(), step.name().to_owned()),
            ("due", old.when_words(), step.when_words()),
            ("held", old.mode.words().to_owned(), step.mode.words().to_owned()),
            ("for", old.only_words(), step.only_words()),
            (
                "with the note",
                old.note.clone().unwrap_or_else(|| "none".to_owned()),
                step.note.clone().unwrap_or_else(|| "none".to_owned()),
            ),
        ] {
            if from != to {
                changes.push(format!("{what} {to} (was {from})"));
            }
        }
        if !changes.is_empty() {
            said.push(format!("Step “{}”: now {}.", old.name(), changes.join("; ")));
        }
    }
    for gone in before.steps.iter().filter(|old| after.step(&old.id).is_none()) {
        said.push(format!("Step “{}” is left out: it was {}.", gone.name(), gone.when_words()));
    }
    let order = |of: &Protocol, other: &Protocol| -> Vec<String> {
        of.steps.iter().filter(|s| other.step(&s.id).is_some()).map(|s| s.id.clone()).collect()
    };
    if order(before, after) != order(after, before) {
        said.push("The steps stand in another order; that decides only between reviews of one day.".to_owned());
    }
    said
}
