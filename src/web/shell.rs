//! What surrounds every page: title, masthead, navigation, message of the last act, footer.
//!
//! `templates/base.html` reads a field named `shell` of the page struct. The render layer fills it once, late; features never do.
//! Plain values: no request, no session, no clock in here.

/// The frame of one page.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shell {
    /// Title of the page without the service's name; begins with "Error: " when the page shows an error summary.
    pub title: String,
    /// Name of the service (the organisation).
    pub service: String,
    /// Who is signed in; `None` on the sign-in pages, which then have neither navigation nor search.
    pub signed_in: Option<SignedIn>,
    /// The parts of the service this person's roles may see, in fixed order.
    pub nav: Vec<NavItem>,
    /// Whether the masthead has the patient search box (only for roles that may search).
    pub search: bool,
    /// Outcome of the last act, shown once. Never together with an error summary.
    pub message: Option<Message>,
    /// Whether this is the demonstration: every page and print then says so.
    pub demo: bool,
    /// Token every form that changes something sends as `csrf`.
    pub csrf: String,
    /// Time of the data on the page, "25-Nov-2026 10:42".
    pub time: String,
    /// Clock time at which the screen locks if nothing is done, "10:57"; shown because the page may have no script.
    pub locks_at: Option<String>,
    /// Seconds of idleness after which it locks, for the countdown.
    pub lock_seconds: i64,
    /// Address of the style sheet, with its hash.
    pub css: String,
    /// Address of the script module, with its hash.
    pub js: String,
    /// Addresses of the two fonts that every page needs, so that they come at once and nothing moves.
    pub fonts: Vec<String>,
    /// Address of the mark used as the page's icon, with its hash.
    pub icon: String,
    /// Where the help link of the footer leads: to the topic that fits the page.
    pub help_href: String,
    /// Whom else to ask, said after the help link of the footer; the same place on every page.
    pub help: String,
}

/// The person at the keyboard.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SignedIn {
    /// Name as staff know it.
    pub name: String,
    /// Roles in words, "Nurse, prescriber".
    pub roles: String,
}

/// One word of the navigation.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct NavItem {
    /// Where it leads.
    pub href: String,
    /// The word: Week, Diary, Patients, Supplies catalogue, Protocols, Import, Staff, Audit, Account.
    pub label: String,
    /// Whether the page belongs to it.
    pub current: bool,
}

impl NavItem {
    /// One word of the navigation.
    pub fn new(href: impl Into<String>, label: impl Into<String>, current: bool) -> Self {
        Self { href: href.into(), label: label.into(), current }
    }
}

/// What kind of news a message is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MessageKind {
    /// It was done.
    #[default]
    Done,
    /// It was done, but the reader should know something.
    Note,
    /// It was not done.
    Refused,
}

impl MessageKind {
    /// Key used in class names.
    pub fn key(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Note => "note",
            Self::Refused => "refused",
        }
    }

    /// The word that precedes the text, so that the kind does not rest on colour.
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "Done",
            Self::Note => "Note",
            Self::Refused => "Not done",
        }
    }
}

/// Outcome of the last act.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Message {
    /// Kind of news.
    pub kind: MessageKind,
    /// One sentence: what was done to whom.
    pub text: String,
    /// Address an Undo form posts to, if the act can be taken back.
    pub undo: Option<String>,
}
