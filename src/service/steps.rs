//! The steps of setting a service up: which there are, in which order, and which are done. Pure.

use crate::access::setup::Step;
use crate::web::Permission;

/// What is known of a service.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// Codes of steps that somebody said are done.
    pub said: Vec<String>,
    /// Open sites.
    pub sites: usize,
    /// Patients on record.
    pub patients: i64,
    /// People with access.
    pub people: usize,
}

/// A step as the page lists it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToDo {
    /// Name, nation, hours, telephone.
    Facts,
    /// Sites.
    Sites,
    /// A protocol for each kind of stoma.
    Protocols,
    /// The quantity set.
    Quantities,
    /// The skin bands.
    Bands,
    /// The spreadsheet.
    Import,
    /// Colleagues.
    Colleagues,
}

impl ToDo {
    /// In the order of the page. The spreadsheet stands after the protocols, because each stoma takes its protocol when
    /// it is brought in; any order works, and each may be left out.
    pub const ALL: [Self; 7] =
        [Self::Facts, Self::Sites, Self::Protocols, Self::Quantities, Self::Bands, Self::Import, Self::Colleagues];

    /// What it is.
    pub fn title(self) -> &'static str {
        match self {
            Self::Facts => "Say who you are",
            Self::Sites => "Name the sites",
            Self::Protocols => "Choose the protocols",
            Self::Quantities => "Choose the quantity set",
            Self::Bands => "Choose the skin bands",
            Self::Import => "Bring the spreadsheet in",
            Self::Colleagues => "Invite colleagues",
        }
    }

    /// What it is for, in one sentence.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Facts => {
                "Name, telephone number, nation and clinic hours: they stand on prints, decide the bank holidays, and are \
                 the slots that the week offers."
            }
            Self::Sites => "The places where you hold clinics, by the names that patients and staff use.",
            Self::Protocols => {
                "A protocol says when somebody with a new stoma is seen; there is no national one, so your service decides \
                 for each kind of stoma."
            }
            Self::Quantities => "The published figures with which lists of supplies are compared.",
            Self::Bands => "From which skin score the words mild, moderate and severe are used.",
            Self::Import => {
                "The list you keep now, saved as CSV: you see what was read before anything is written, and each stoma then \
                 follows the protocol chosen above."
            }
            Self::Colleagues => "Each gets a link that works once and chooses a password; nobody shares a sign-in.",
        }
    }

    /// Where it is done.
    pub fn href(self) -> &'static str {
        match self {
            Self::Facts => "/service",
            Self::Sites => "/service#h-sites",
            Self::Protocols => "/service/protocols",
            Self::Quantities => "/quantities",
            Self::Bands => "/service/bands",
            Self::Import => "/import",
            Self::Colleagues => "/staff",
        }
    }

    /// What one needs to do it, and who has that.
    pub fn needs(self) -> (Permission, &'static str) {
        match self {
            Self::Colleagues => (Permission::ManageStaff, "An administrator does this."),
            Self::Import => (Permission::ImportCaseload, "The lead nurse does this."),
            _ => (Permission::EditService, "The lead nurse does this."),
        }
    }

    /// True when it is done.
    pub fn is_done(self, known: &Known) -> bool {
        let said = |step: Step| known.said.iter().any(|code| code == step.code());
        match self {
            Self::Facts => said(Step::Facts),
            Self::Sites => known.sites > 0,
            Self::Protocols => said(Step::Protocols),
            Self::Quantities => said(Step::Quantities),
            Self::Bands => said(Step::Bands),
            Self::Import => known.patients > 0,
            Self::Colleagues => known.people > 1,
        }
    }
}

/// How many of the steps are left.
pub fn left(known: &Known) -> usize {
    ToDo::ALL.iter().filter(|step| !step.is_done(known)).count()
}

/// "3 of 7 steps are done; 4 are left."
pub fn words(known: &Known) -> String {
    let (all, left) = (ToDo::ALL.len(), left(known));
    match left {
        0 => format!("All {all} steps are done."),
        1 => format!("{} of {all} steps are done; 1 is left.", all - 1),
        n => format!("{} of {all} steps are done; {n} are left.", all - n),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_done_by_what_was_said_or_by_what_is_there() {
        let mut known = Known { people: 1, ..Known::default() };
        assert_eq!(words(&known), "0 of 7 steps are done; 7 are left.");
        known.said = vec!["facts".into(), "protocols".into(), "quantities".into(), "bands".into()];
        assert_eq!(left(&known), 3);
        known = Known { sites: 1, patients: 1, people: 2, ..known };
        assert_eq!(words(&known), "All 7 steps are done.");
    }
}
