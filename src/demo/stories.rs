//! What has happened to the invented patients: every state that the pages know is there at least once.

/// A skin assessment that has been made.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Days before today.
    pub days_ago: i64,
    /// Area points and severity of discolouration, erosion, overgrowth.
    pub judged: [(u8, u8); 3],
    /// Leaks of the last ten changes.
    pub leaks: u8,
    /// Pain of the skin, 0 to 10.
    pub pain: u8,
    /// Colour of the stoma.
    pub colour: &'static str,
    /// Output in 24 hours, mL.
    pub output: Option<u32>,
    /// Codes of findings and symptoms.
    pub codes: &'static [&'static str],
    /// Cause code.
    pub cause: Option<&'static str>,
}

const CLEAR: [(u8, u8); 3] = [(0, 0), (0, 0), (0, 0)];

/// Clear skin, no complaint.
pub const fn clear(days_ago: i64) -> Seen {
    Seen { days_ago, judged: CLEAR, leaks: 0, pain: 0, colour: "red", output: None, codes: &[], cause: None }
}

const fn sore(days_ago: i64, judged: [(u8, u8); 3], leaks: u8, pain: u8) -> Seen {
    Seen { judged, leaks, pain, cause: Some("output-on-skin"), codes: &["itch"], ..clear(days_ago) }
}

/// How the story ends, besides the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Under care.
    Goes,
    /// Died so many days ago.
    Died(i64),
    /// Moved away so many days ago.
    Moved(i64),
    /// The stoma was reversed so many days ago.
    Reversed(i64),
    /// Missed the last two reviews.
    MissedTwice,
    /// Booked so many working days ahead, at this time.
    Booked(u32, &'static str),
    /// The nurse deferred the next review.
    Deferred,
}

/// One invented course.
#[derive(Clone, Copy, Debug)]
pub struct Story {
    /// Kind of stoma.
    pub kind: &'static str,
    /// Construction.
    pub construction: &'static str,
    /// permanent or temporary.
    pub permanence: &'static str,
    /// planned or emergency.
    pub surgery: &'static str,
    /// Days since surgery.
    pub surgery_ago: i64,
    /// Days since discharge; none: still on the ward.
    pub discharge_ago: Option<i64>,
    /// Days until the planned reversal.
    pub reversal_in: Option<i64>,
    /// Another stoma besides.
    pub second: Option<&'static str>,
    /// Days ago from which on the service answers for the follow-up.
    pub taken_ago: i64,
    /// Assessments, the oldest first.
    pub seen: &'static [Seen],
    /// The ending.
    pub ending: Ending,
    /// Protocol, if not the service's usual one.
    pub protocol: Option<&'static str>,
}

/// What the stories are variations of; by itself somebody established and under care.
pub const ESTABLISHED: Story = Story {
    kind: "ileostomy",
    construction: "end",
    permanence: "permanent",
    surgery: "planned",
    surgery_ago: 100,
    discharge_ago: Some(92),
    reversal_in: None,
    second: None,
    taken_ago: 92,
    seen: &[],
    ending: Ending::Goes,
    protocol: None,
};

/// The told stories; whoever comes after them is established and steady.
pub const TOLD: [Story; 22] = [
    // A dusky stoma seen today: same day.
    Story {
        surgery: "emergency",
        surgery_ago: 12,
        discharge_ago: Some(4),
        taken_ago: 4,
        seen: &[Seen { colour: "dusky", ..clear(0) }],
        ..ESTABLISHED
    },
    // High output with thirst: same day.
    Story {
        construction: "loop",
        permanence: "temporary",
        surgery_ago: 24,
        discharge_ago: Some(15),
        taken_ago: 14,
        seen: &[Seen {
            output: Some(2_150),
            codes: &["dehydration", "loose-output"],
            ..sore(1, [(1, 1), (0, 0), (0, 0)], 3, 3)
        }],
        ..ESTABLISHED
    },
    // Skin getting worse, leaks.
    Story {
        surgery_ago: 102,
        discharge_ago: Some(94),
        taken_ago: 20,
        seen: &[
            sore(86, [(1, 1), (0, 0), (0, 0)], 1, 1),
            sore(48, [(2, 1), (1, 1), (0, 0)], 3, 4),
            sore(6, [(2, 2), (1, 2), (0, 0)], 5, 6),
        ],
        ..ESTABLISHED
    },
    // Skin getting better.
    Story {
        kind: "colostomy",
        surgery_ago: 190,
        discharge_ago: Some(182),
        taken_ago: 20,
        seen: &[
            sore(150, [(3, 2), (2, 2), (0, 0)], 6, 7),
            sore(90, [(2, 1), (1, 1), (0, 0)], 3, 3),
            sore(20, [(1, 1), (0, 0), (0, 0)], 1, 1),
        ],
        ending: Ending::Booked(0, "09:00"),
        ..ESTABLISHED
    },
    // The three-month review six weeks overdue.
    Story { surgery_ago: 136, discharge_ago: Some(128), taken_ago: 50, seen: &[clear(80)], ..ESTABLISHED },
    // Missed twice.
    Story {
        kind: "colostomy",
        surgery_ago: 130,
        discharge_ago: Some(120),
        taken_ago: 42,
        seen: &[sore(98, [(2, 1), (0, 0), (0, 0)], 2, 2)],
        ending: Ending::MissedTwice,
        ..ESTABLISHED
    },
    // Waiting for a reversal with a date.
    Story {
        construction: "loop",
        permanence: "temporary",
        surgery_ago: 170,
        discharge_ago: Some(161),
        reversal_in: Some(38),
        taken_ago: 70,
        seen: &[clear(71)],
        protocol: Some("local-loop-awaiting-reversal"),
        ..ESTABLISHED
    },
    // Waiting for a reversal without a date, for ten months.
    Story {
        construction: "loop",
        permanence: "temporary",
        surgery: "emergency",
        surgery_ago: 305,
        discharge_ago: Some(290),
        taken_ago: 120,
        seen: &[sore(121, [(1, 1), (0, 0), (0, 0)], 1, 1)],
        protocol: Some("local-loop-awaiting-reversal"),
        ..ESTABLISHED
    },
    // Two stomas.
    Story {
        kind: "colostomy",
        second: Some("urostomy"),
        surgery_ago: 361,
        discharge_ago: Some(350),
        taken_ago: 100,
        seen: &[clear(181)],
        ..ESTABLISHED
    },
    Story {
        surgery_ago: 800,
        discharge_ago: Some(790),
        taken_ago: 400,
        seen: &[clear(401)],
        ending: Ending::Died(33),
        ..ESTABLISHED
    },
    Story {
        kind: "colostomy",
        surgery_ago: 500,
        discharge_ago: Some(490),
        taken_ago: 200,
        ending: Ending::Moved(60),
        ..ESTABLISHED
    },
    Story {
        construction: "loop",
        permanence: "temporary",
        surgery_ago: 260,
        discharge_ago: Some(250),
        taken_ago: 200,
        ending: Ending::Reversed(18),
        ..ESTABLISHED
    },
    // A near-duplicate pair: the names and birth dates are made alike when they are written.
    Story {
        kind: "urostomy",
        surgery_ago: 364,
        discharge_ago: Some(352),
        taken_ago: 20,
        seen: &[clear(182)],
        ..ESTABLISHED
    },
    Story { kind: "urostomy", surgery_ago: 363, discharge_ago: Some(355), taken_ago: 20, seen: &[], ..ESTABLISHED },
    // Home for six days, nobody has been in touch.
    Story { surgery: "emergency", surgery_ago: 15, discharge_ago: Some(6), taken_ago: 6, ..ESTABLISHED },
    // Still on the ward: the first steps wait for the discharge.
    Story { kind: "urostomy", surgery_ago: 5, discharge_ago: None, taken_ago: 5, ..ESTABLISHED },
    // Nothing planned: the protocol has no step left.
    Story {
        kind: "colostomy",
        surgery_ago: 95,
        discharge_ago: Some(90),
        taken_ago: 60,
        seen: &[clear(61)],
        protocol: Some("leeds-community"),
        ..ESTABLISHED
    },
    Story {
        surgery_ago: 92,
        discharge_ago: Some(84),
        taken_ago: 10,
        seen: &[clear(41)],
        ending: Ending::Booked(0, "09:30"),
        ..ESTABLISHED
    },
    Story {
        kind: "colostomy",
        surgery_ago: 184,
        discharge_ago: Some(176),
        taken_ago: 80,
        seen: &[clear(81)],
        ending: Ending::Booked(1, "10:00"),
        ..ESTABLISHED
    },
    Story {
        surgery_ago: 183,
        discharge_ago: Some(175),
        taken_ago: 90,
        seen: &[clear(91)],
        ending: Ending::Deferred,
        ..ESTABLISHED
    },
    // Overgrowth from lasting moisture.
    Story {
        kind: "urostomy",
        surgery_ago: 420,
        discharge_ago: Some(410),
        taken_ago: 70,
        seen: &[
            Seen { cause: Some("moisture-overgrowth"), ..sore(160, [(1, 1), (0, 0), (1, 1)], 4, 2) },
            Seen { cause: Some("moisture-overgrowth"), ..sore(69, [(2, 1), (0, 0), (1, 2)], 4, 4) },
        ],
        ending: Ending::Booked(0, "11:30"),
        ..ESTABLISHED
    },
    // Says it is too much.
    Story {
        kind: "colostomy",
        surgery: "emergency",
        surgery_ago: 50,
        discharge_ago: Some(40),
        taken_ago: 12,
        seen: &[Seen { codes: &["not-coping", "itch"], ..sore(13, [(1, 2), (0, 0), (0, 0)], 4, 5) }],
        ..ESTABLISHED
    },
];
