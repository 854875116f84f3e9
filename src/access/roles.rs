//! Roles, and the one table that says which role may do what.

use std::collections::BTreeSet;

use crate::web::Permission::{
    self, AssessSkin, DrawUpSupplies, EditCatalogue, EditPatients, EditProtocols, EditService, EditStomas,
    FindPatients, ImportCaseload, ManageStaff, ReadAccess, ReadAudit, SeeClinical, SeeReference, SignPrescriptions,
    WorkTheWeek,
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
                EditService,
                ReadAudit,
                ReadAccess,
            ],
            Self::Auditor => &[FindPatients, ReadAudit, ReadAccess],
            Self::Administrator => &[ManageStaff],
        }
    }
}

/// All that these roles may do together.
pub fn permissions_of(roles: &[Role]) -> BTreeSet<Permission> {
    roles.iter().flat_map(|role| role.permissions()).copied().collect()
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
