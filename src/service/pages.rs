//! Page structs of the service.

use askama::Template;

use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::shell::Shell;

/// A step of setting up.
pub struct StepView {
    /// "1".
    pub number: usize,
    /// What it is.
    pub title: &'static str,
    /// What it is for.
    pub sentence: &'static str,
    /// Done.
    pub done: bool,
    /// How it stands: what, and where it comes from if it is a choice with a source.
    pub facts: Vec<ChosenView>,
    /// Where it is done and the words of the link; `None` for somebody who may not.
    pub act: Option<(&'static str, &'static str)>,
    /// Who does it instead.
    pub who: Option<&'static str>,
}

/// Something the service follows, with its source.
pub struct ChosenView {
    /// "Colostomy", or empty.
    pub label: &'static str,
    /// What.
    pub what: String,
    /// Publisher, title, year; empty when it is no choice between sources.
    pub source: String,
    /// How well the source was seen.
    pub standing: String,
}

impl ChosenView {
    /// A plain fact.
    pub fn plain(label: &'static str, what: impl Into<String>) -> Self {
        Self { label, what: what.into(), source: String::new(), standing: String::new() }
    }
}

/// `GET /welcome`
#[derive(Template)]
#[template(path = "service/welcome.html")]
pub struct WelcomePage {
    /// Frame.
    pub shell: Shell,
    /// "3 of 7 steps are done; 4 are left."
    pub words: String,
    /// The steps.
    pub steps: Vec<StepView>,
    /// Nothing is left.
    pub finished: bool,
    /// The page does not come up by itself any more.
    pub put_away: bool,
    /// Who set up the service may look at the week.
    pub week: bool,
}

/// A site with its small forms.
pub struct SiteView {
    /// Id, for the forms.
    pub id: String,
    /// Name as kept.
    pub name: String,
    /// "open", or since when it is closed.
    pub state: String,
    /// Kind of its tag: `good` or `plain`.
    pub kind: &'static str,
    /// Clinics are held there.
    pub open: bool,
    /// The form in which it is renamed.
    pub field: Field,
}

/// The form of the facts.
pub struct FactsForm {
    /// Row version.
    pub version: String,
    /// Name.
    pub name: Field,
    /// Telephone.
    pub phone: Field,
    /// Nation.
    pub nation: (Field, Vec<Choice>),
    /// First slot.
    pub opens: Field,
    /// End of the last slot.
    pub closes: Field,
    /// Minutes of a slot.
    pub slot: Field,
}

/// `GET /service`
#[derive(Template)]
#[template(path = "service/facts.html")]
pub struct FactsPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Steps of setting up, in words.
    pub setup: String,
    /// The form, for those who may change it.
    pub form: Option<FactsForm>,
    /// The same facts in words, for those who may not.
    pub facts: Vec<(&'static str, String)>,
    /// Sites.
    pub sites: Vec<SiteView>,
    /// The form for another site.
    pub new_site: Field,
    /// What the service follows: heading, address of the choice, how it stands.
    pub chosen: Vec<(&'static str, &'static str, Vec<ChosenView>)>,
}

/// A page with one or several choices, each with its sources.
#[derive(Template)]
#[template(path = "service/choice.html")]
pub struct ChoicePage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: &'static str,
    /// Sentence under it.
    pub standfirst: String,
    /// What the choice does from now on, and what it leaves alone.
    pub effects: Vec<String>,
    /// Where the form goes.
    pub action: &'static str,
    /// Row version.
    pub version: String,
    /// The questions.
    pub questions: Vec<(Field, Vec<Choice>)>,
    /// Words of the button; `None` for those who may only look.
    pub button: Option<&'static str>,
    /// Other pages to look at: address and words.
    pub see: Vec<(&'static str, &'static str)>,
}
