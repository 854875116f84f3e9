//! Every message that the program says to a patient by itself, with the places it fills: one line each, from which a
//! function of [`Language`] is made. A message that nothing says is a function that nothing calls: the compiler warns.
//!
//! Messages that data name (steps, cautions) are not in this list; the data say which they need.

use super::{Expected, Language};

macro_rules! messages {
    ($($name:ident $key:literal ($($place:ident)*);)*) => {
        /// All of them: key and places.
        pub fn expected() -> Vec<Expected> {
            let mut all: Vec<Expected> = vec![$(
                ($key.to_owned(), vec![$(stringify!($place).to_owned()),*]),
            )*];
            all.extend((1..=12).map(|month| (format!("month.{month}"), Vec::new())));
            all.extend(KINDS.iter().map(|kind| (format!("stoma.{kind}"), Vec::new())));
            all
        }

        impl Language {
            $(
                #[doc = concat!("The message `", $key, "`.")]
                pub(crate) fn $name(&self $(, $place: &str)*) -> String {
                    self.say($key, &[$((stringify!($place), $place)),*])
                }
            )*
        }
    };
}

messages! {
    own_name "name" ();
    date_pattern "date" (day month year);

    // The edges of every page.
    born "page.born" (date);
    not_known "page.not_known" ();
    number "page.number" (kind number);
    page_of "page.count" (page pages);
    foot "page.foot" (service version name date time);
    foot_phone "page.foot_phone" (service phone version name date time);
    demonstration "page.demonstration" ();

    // How often, and what for.
    each_day "use.each_day" (units);
    every_days "use.every_days" (units days);
    opening "use.opening" (mm);

    // The change routine.
    routine_title "routine.title" ();
    routine_list "routine.list" (stoma date version);
    routine_stop "routine.stop" ();
    routine_step "routine.step" (number title);
    routine_use "routine.use" (usage);
    routine_items "routine.items" ();
    routine_others "routine.others" ();
    routine_not_covered "routine.not_covered" ();

    // Whom to ring.
    ring_title "ring.title" ();
    ring_phone "ring.phone" (phone);
    ring_no_phone "ring.no_phone" ();
    now_title "now.title" ();
    now_intro "now.intro" ();
    now_then "now.then" ();
    local_advice "local_advice" ();

    // The patient's copy of the supplies.
    list_title "list.title" ();
    list_in_force "list.in_force" (date name);
    list_draft "list.draft" ();
    list_superseded "list.superseded" ();
    list_stopped "list.stopped" ();
    list_about "list.about" ();
    list_items "list.items" (days);
    list_note "list.note" ();
    list_changes "list.changes" ();
    list_ask "list.ask" ();
    list_who "list.who" ();
    list_rule "list.rule" ();
    column_item "list.column.item" ();
    column_use "list.column.use" ();
    column_packs "list.column.packs" ();
    packs_of "list.packs" (packs units pack);
    singles "list.singles" (units);
    reason "list.reason" (reason);
    look_again "list.look_again" (date);
    once "list.once" ();
    fact_name "list.fact.name" ();
    fact_born "list.fact.born" ();
    fact_address "list.fact.address" ();
    fact_gp "list.fact.gp" ();
    fact_avoid "list.fact.avoid" ();
    fact_stoma "list.fact.stoma" ();
    fact_surgery "list.fact.surgery" ();
    fact_size "list.fact.size" ();
    fact_signed "list.fact.signed" ();
    fact_dispenser "list.fact.dispenser" ();
    fact_review "list.fact.review" ();
    no_review "list.no_review" ();
    change_first "list.change.first" ();
    change_none "list.change.none" ();
    change_new "list.change.new" (item);
    change_stopped "list.change.stopped" (item);
    change_use "list.change.use" (item usage);
}

/// Messages about the kind of stoma: `stoma.colostomy` and so on.
pub const KINDS: [&str; 3] = ["colostomy", "ileostomy", "urostomy"];

impl Language {
    /// "your colostomy"
    pub(crate) fn stoma(&self, kind: &str) -> String {
        self.say(&format!("stoma.{kind}"), &[])
    }
}
