//! Roles, and the one table that says which role may do what.

use std::collections::BTreeSet;

use crate::web::Permission::{
    self, AssessSkin, DrawUpSupplies, EditCatalogue, EditPatients, EditProtocols, EditService, EditStomas,
    FindPatients, ImportCaseload, ManageStaff, ReadAccess, ReadAudit, SeeClinical, SeeReference, SetUpService,
    SignPrescriptions, WorkTheWeek,
};

/// A role. A staff member may have several; what they may do is all of it together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Stoma care nurse.
    Nurse,
    /// A nurse or doctor qualified to prescribe.
    Prescriber,
    /// Healthcare assistant.
    Assistant,
    /// Clinic clerk.
    Clerk,
    /// Lead nurse.
    Lead,
    /// Records auditor.
    Auditor,
    /// Administrator of accounts.
    Administrator,
}

/// All roles in the order in which pages list them.
pub const ALL: [Role; 7] =
    [Role::Nurse, Role::Prescriber, Role::Assistant, Role::Clerk, Role::Lead, Role::Auditor, Role::Administrator];

impl Role {
    /// The stored code.
    pub fn code(self) -> &'static str {
        match self {
            Self::Nurse => "nurse",
            Self::Prescriber => "prescriber",
            Self::Assistant => "assistant",
            Self::Clerk => "clerk",
            Self::Lead => "lead",
            Self::Auditor => "auditor",
            Self::Administrator => "administrator",
        }
    }

    /// The word on pages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Nurse => "Nurse",
            Self::Prescriber => "Prescriber",
            Self::Assistant => "Healthcare assistant",
            Self::Clerk => "Clinic clerk",
            Self::Lead => "Lead nurse",
            Self::Auditor => "Records auditor",
            Self::Administrator => "Administrator",
        }
    }

    /// What somebody with this role does here, in one line.
    pub fn about(self) -> &'static str {
        match self {
            Self::Nurse => "The week, patients, stomas, skin assessments; draws up lists of supplies.",
            Self::Prescriber => "As a nurse; also signs lists of supplies and keeps the catalogue.",
            Self::Assistant => "The week and patients; reads assessments and supplies, changes neither.",
            Self::Clerk => "Registers and finds patients, books and rings. Sees no assessments and no supplies.",
            Self::Lead => "As a nurse; also brings a caseload in, chooses for the service, reads the log.",
            Self::Auditor => "Reads the log and who has seen a record. Finds patients, sees nothing clinical.",
            Self::Administrator => "Adds staff, changes roles, ends access. Sees no patients.",
        }
    }

    /// The role of a stored code.
    pub fn from_code(code: &str) -> Option<Self> {
        ALL.into_iter().find(|role| role.code() == code)
    }

    /// The table of permissions.
    pub fn permissions(self) -> &'static [Permission] {
        match self {
            Self::Nurse => &[
                FindPatients,
                EditPatients,
                SeeClinical,
                EditStomas,
                AssessSkin,
                WorkTheWeek,
                DrawUpSupplies,
                SeeReference,
                EditProtocols,
                ReadAccess,
            ],
            Self::Prescriber => &[
                FindPatients,
                EditPatients,
                SeeClinical,
                EditStomas,
                AssessSkin,
                WorkTheWeek,
                DrawUpSupplies,
                SignPrescriptions,
                SeeReference,
                EditProtocols,
                EditCatalogue,
                ReadAccess,
            ],
            Self::Assistant => &[FindPatients, EditPatients, SeeClinical, WorkTheWeek, SeeReference],
            Self::Clerk => &[FindPatients, EditPatients, WorkTheWeek],
            Self::Lead => &[
                FindPatients,
                EditPatients,
                SeeClinical,
                EditStomas,
                AssessSkin,
                WorkTheWeek,
                DrawUpSupplies,
                ImportCaseload,
                SeeReference,
                EditProtocols,
                EditCatalogue,
                SetUpService,
                EditService,
                ReadAudit,
                ReadAccess,
            ],
            Self::Auditor => &[FindPatients, ReadAudit, ReadAccess],
            Self::Administrator => &[ManageStaff, SetUpService],
        }
    }
}

/// All that these roles may do together.
pub fn permissions_of(roles: &[Role]) -> BTreeSet<Permission> {
    roles.iter().flat_map(|role| role.permissions()).copied().collect()
}

/// True when somebody among these can manage staff: a service must never be left without.
pub fn can_manage_staff<'r>(people: impl IntoIterator<Item = &'r [Role]>) -> bool {
    people.into_iter().any(|roles| permissions_of(roles).contains(&ManageStaff))
}

/// The first page for somebody with these permissions.
pub fn first_page(may: &BTreeSet<Permission>) -> &'static str {
    if may.contains(&WorkTheWeek) {
        "/week"
    } else if may.contains(&ReadAudit) {
        "/audit"
    } else if may.contains(&ManageStaff) {
        "/staff"
    } else {
        "/account"
    }
}
