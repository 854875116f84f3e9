//! What a form shows: fields, choices and the summary of errors, as the macros of `templates/parts/forms.html` read them.
//!
//! Plain values only. This module knows no feature, no request and no database, it validates nothing and it escapes nothing
//! (the templates do). A handler fills these from what was typed, so that a page that comes back still holds it.

/// How wide a box is, so that its size tells how much is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Width {
    /// Up to 4 characters: a measure, a count.
    Short,
    /// About 12 characters: a date, an NHS number, a phone number.
    #[default]
    Medium,
    /// The whole measure of the column: names, reasons.
    Full,
}

impl Width {
    /// The class the style sheet knows it by.
    pub fn class(self) -> &'static str {
        match self {
            Self::Short => "w-short",
            Self::Medium => "w-medium",
            Self::Full => "w-full",
        }
    }
}

/// One question of a form. For radios, checkboxes and dates of birth it is the group: `label` is then the legend.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Field {
    /// Element id, unique in the page; the error summary links to it. `new` sets it to the name.
    pub id: String,
    /// Name under which the form sends the value.
    pub name: String,
    /// The question, in sentence case, without colon.
    pub label: String,
    /// What stands in the box: the stored value, or what was typed last time, unchanged.
    pub value: String,
    /// Help that is always visible (an example, a format).
    pub hint: Option<String>,
    /// What is wrong and how to mend it; the same words as in the error summary.
    pub error: Option<String>,
    /// Unit printed after the box ("mm", "mL in 24 h").
    pub unit: Option<String>,
    /// Value of the `autocomplete` attribute; `None` writes `off`, because a shared clinic machine must not offer another patient's facts.
    pub autocomplete: Option<String>,
    /// Where the value was carried forward from ("from 12-Oct-2026, confirm"); shown beside the label.
    pub carried: Option<String>,
    /// Whether to mark the field "(optional)".
    pub optional: bool,
    /// What may have been meant, to choose from: what the box would hold and what the reader sees. Never more than two.
    pub offers: Vec<(String, String)>,
    /// Size of the box.
    pub width: Width,
}

impl Field {
    /// A mandatory, empty field.
    pub fn new(name: impl Into<String>, label: impl Into<String>) -> Self {
        let name = name.into();
        Self { id: name.clone(), name, label: label.into(), ..Self::default() }
    }

    /// Sets the element id, where one name occurs more than once in a page.
    #[must_use]
    pub fn id(mut self, id: impl Into<String>) -> Self {
        self.id = id.into();
        self
    }

    /// Sets what stands in the box.
    #[must_use]
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.value = value.into();
        self
    }

    /// Sets the help text.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Sets the error, if there is one.
    #[must_use]
    pub fn error(mut self, error: Option<impl Into<String>>) -> Self {
        self.error = error.map(Into::into);
        self
    }

    /// Offers readings of what was typed.
    #[must_use]
    pub fn offers(mut self, readings: Vec<(String, String)>) -> Self {
        self.offers = readings;
        self
    }

    /// Sets the unit printed after the box.
    #[must_use]
    pub fn unit(mut self, unit: impl Into<String>) -> Self {
        self.unit = Some(unit.into());
        self
    }

    /// Sets `autocomplete`, for the signed-in person's own facts only (user name, password, code).
    #[must_use]
    pub fn autocomplete(mut self, token: impl Into<String>) -> Self {
        self.autocomplete = Some(token.into());
        self
    }

    /// Says where the value was carried forward from.
    #[must_use]
    pub fn carried(mut self, words: impl Into<String>) -> Self {
        self.carried = Some(words.into());
        self
    }

    /// Marks the field as optional.
    #[must_use]
    pub fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    /// Sets the size of the box.
    #[must_use]
    pub fn width(mut self, width: Width) -> Self {
        self.width = width;
        self
    }

    /// Ids for `aria-describedby`: hint first, then error; empty if there is neither.
    pub fn described_by(&self) -> String {
        let mut ids = Vec::new();
        if self.hint.is_some() {
            ids.push(format!("{}-hint", self.id));
        }
        if self.error.is_some() {
            ids.push(format!("{}-error", self.id));
        }
        ids.join(" ")
    }

    /// The `autocomplete` token, `off` unless one was set.
    pub fn autocomplete_token(&self) -> &str {
        self.autocomplete.as_deref().unwrap_or("off")
    }
}

/// One answer of radios, checkboxes or a select.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choice {
    /// What the form sends.
    pub value: String,
    /// What the reader sees.
    pub label: String,
    /// Help under the label.
    pub hint: Option<String>,
    /// Whether it is chosen. A clinical question starts with none chosen.
    pub checked: bool,
}

impl Choice {
    /// An answer that is not chosen.
    pub fn new(value: impl Into<String>, label: impl Into<String>) -> Self {
        Self { value: value.into(), label: label.into(), ..Self::default() }
    }

    /// Chooses it or not.
    #[must_use]
    pub fn checked(mut self, checked: bool) -> Self {
        self.checked = checked;
        self
    }

    /// Sets the help under the label.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Chooses the one answer whose value was typed; none, if nothing fits.
    pub fn choose(mut choices: Vec<Self>, value: &str) -> Vec<Self> {
        for choice in &mut choices {
            choice.checked = choice.value == value;
        }
        choices
    }
}

/// A question with its answers, for radios, checkboxes and selects.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Question {
    /// Legend or label, hint and error.
    pub field: Field,
    /// The answers, in order.
    pub choices: Vec<Choice>,
}

impl Question {
    /// A question with its answers; `field.value` chooses the one that was typed or stored, if any.
    pub fn new(field: Field, choices: Vec<Choice>) -> Self {
        let choices = if field.value.is_empty() { choices } else { Choice::choose(choices, &field.value) };
        Self { field, choices }
    }
}

/// A date of birth in three boxes. `field.name` is the stem: the form sends `{stem}_day`, `{stem}_month`, `{stem}_year`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DateParts {
    /// Legend, hint and error of the group.
    pub field: Field,
    /// Day as typed.
    pub day: String,
    /// Month as typed (a number or a name).
    pub month: String,
    /// Year as typed.
    pub year: String,
}

/// One field of a form that was sent on an old version of the record: what was typed, and what stands now.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Difference {
    /// The question.
    pub label: String,
    /// As typed.
    pub typed: String,
    /// As it stands.
    pub stands: String,
}

impl Difference {
    /// The fields that differ, in the order of the form; both lists name the same fields in the same order.
    pub fn between(typed: Vec<(String, String)>, stands: Vec<(String, String)>) -> Vec<Self> {
        let said = |text: String| if text.trim().is_empty() { "Nothing".to_owned() } else { text };
        let pairs = typed.into_iter().zip(stands).filter(|((_, typed), (_, stands))| typed.trim() != stands.trim());
        pairs.map(|((label, typed), (_, stands))| Self { label, typed: said(typed), stands: said(stands) }).collect()
    }
}

/// The label of the answer that is chosen; empty if none is.
pub fn chosen(choices: &[Choice]) -> String {
    choices.iter().find(|choice| choice.checked).map(|choice| choice.label.clone()).unwrap_or_default()
}

/// The list of everything wrong, shown on top of the page that comes back with status 422.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ErrorSummary {
    /// Pairs of (element id, message), in the order of the fields on the page.
    pub items: Vec<(String, String)>,
}

impl ErrorSummary {
    /// No errors.
    pub fn none() -> Self {
        Self::default()
    }

    /// Adds one.
    pub fn push(&mut self, id: impl Into<String>, message: impl Into<String>) {
        self.items.push((id.into(), message.into()));
    }

    /// Says that somebody else changed the record since the form was opened; the page shows both versions.
    pub fn changed_meanwhile(&mut self) {
        self.push(
            "changed",
            "Somebody else changed this record since the form was opened. Nothing is saved yet: compare both below",
        );
    }

    /// Takes the error of a field, if it has one.
    pub fn take(&mut self, field: &Field) {
        if let Some(error) = &field.error {
            self.push(field.id.clone(), error.clone());
        }
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn described_by_names_only_what_is_there() {
        let plain = Field::new("surgery_on", "Date of surgery");
        assert_eq!(plain.described_by(), "");
        let both = plain.clone().hint("27-Nov-2026").error(Some("Enter the date of surgery"));
        assert_eq!(both.described_by(), "surgery_on-hint surgery_on-error");
        assert_eq!(both.id("row-3-on").described_by(), "row-3-on-hint row-3-on-error");
    }

    #[test]
    fn choose_leaves_nothing_chosen_for_an_unknown_value() {
        let list = vec![Choice::new("0", "None"), Choice::new("1", "Under a quarter").checked(true)];
        assert!(Choice::choose(list.clone(), "0")[0].checked);
        assert!(Choice::choose(list, "9").iter().all(|choice| !choice.checked));
    }

    #[test]
    fn summary_takes_errors_in_order() {
        let mut summary = ErrorSummary::none();
        summary.take(&Field::new("a", "A"));
        summary.take(&Field::new("b", "B").error(Some("Enter B")));
        assert_eq!(summary.items, vec![("b".to_owned(), "Enter B".to_owned())]);
    }
}
