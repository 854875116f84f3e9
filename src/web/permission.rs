//! What somebody may do. Which role has which of these stands in one table, `access::roles`.

/// One thing that a role may or may not do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Permission {
    /// Search patients and see who they are and when they are booked.
    FindPatients,
    /// Register patients and correct who they are.
    EditPatients,
    /// See assessments, supplies, notes and reasons.
    SeeClinical,
    /// Record and correct stomas and end a record.
    EditStomas,
    /// Record and amend a skin assessment.
    AssessSkin,
    /// See the week; book, ring, defer, assign, record an outcome.
    WorkTheWeek,
    /// Draw up a prescription.
    DrawUpSupplies,
    /// Sign or stop a prescription.
    SignPrescriptions,
    /// Bring a caseload in.
    ImportCaseload,
    /// See protocols, catalogue and quantity sets.
    SeeReference,
    /// Add items to the catalogue.
    EditCatalogue,
    /// See the facts of the service and what is left to set up.
    SetUpService,
    /// Copy a protocol and change the draft; putting it into force needs [`Permission::EditService`].
    EditProtocols,
    /// Change the service's name, sites, clinic hours; choose its protocols, quantity set, skin bands.
    EditService,
    /// Add staff, change roles, end access.
    ManageStaff,
    /// Read the audit log.
    ReadAudit,
    /// See who has seen one patient's record.
    ReadAccess,
}
