//! Who may do what here, and from which device. A badge is a code: names, hashes and keys are kept outside the log, so
//! that a name can be withdrawn and the log stays as it is.

use crate::{Code, Stamp};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

bodies! {
    /// What a badge may do from now on: the whole set, which replaces the one before. Without roles it has left.
    GrantRoles {
        roles: Vec<Role>,
        /// What an integrator's programs may do; of no other role.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        scopes: Vec<Scope>,
    }
    /// A device may record from now on: its scans count as made when it says.
    EnrolDevice {
        what: DeviceIs,
        /// Where it mostly lies.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Code>,
    }
    /// A device may record no longer. What came from it before stays good.
    RevokeDevice { why: String }
    /// A program may act for this badge. The token itself is shown once, and never stands in the log.
    IssueToken {
        /// What it is for, in a word or two.
        name: String,
        scopes: Vec<Scope>,
        /// It ends by itself then.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ends_at: Option<Stamp>,
    }
    /// A token ends now. It is named by the id of the entry that issued it.
    RevokeToken {
        token: Uuid,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    }

    /// Somebody showed who they are.
    SignedIn {
        how: SignInBy,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        device: Option<Code>,
    }
    /// Somebody with the server's own files did what needs no sign-in. Who it was, the log can't say.
    DoneBeside {
        what: BesideServer,
        /// Up to which entry others had seen the log.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seen: Option<u64>,
    }
    /// Somebody asked for what they may not do.
    RightRefused {
        /// The operation, or the decision in the imperative: `lift_hold`.
        asked: String,
        /// Who may: anybody with one of these roles.
        needs: Vec<Role>,
        /// What a token would have to allow.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        scope: Option<Scope>,
    }
}

/// Words that are the same in the log, in the API and among people.
macro_rules! words {
    ($($(#[$doc:meta])* $name:ident { $($(#[$word_doc:meta])* $variant:ident = $word:literal),* $(,)? })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
            #[serde(rename_all = "snake_case")]
            pub enum $name { $($(#[$word_doc])* $variant),* }

            impl $name {
                pub const ALL: &[$name] = &[$($name::$variant),*];

                pub fn word(self) -> &'static str {
                    match self { $($name::$variant => $word),* }
                }
            }
        )*
    };
}

words! {
    /// What somebody does in the yard, in the words of the trade.
    Role {
        /// Receives, stores and hands out.
        Stores = "stores",
        /// Cuts, lays and loads the oven.
        Laminator = "laminator",
        /// Runs the floor: all that is done there, and the jobs.
        Supervisor = "supervisor",
        /// Judges: holds, hours, cures, materials and what stands wrong.
        Quality = "quality",
        /// Looks after the yard's places, people and devices.
        Administrator = "administrator",
        /// Asks, and writes nothing.
        Reader = "reader",
        /// Another program, within its scopes.
        Integrator = "integrator",
    }
    /// What another program may do.
    Scope {
        Read = "read",
        Facts = "facts",
        Decisions = "decisions",
    }
    /// What a device is.
    DeviceIs {
        Handheld = "handheld",
        Tablet = "tablet",
        Desk = "desk",
    }
    /// What is done beside the server, by whoever has its files.
    BesideServer {
        /// Whoever types it becomes an administrator.
        SetUpCode = "asked for a new set-up code",
        /// Newer entries are lost; from here on another key signs.
        WentOn = "went on with less than others have seen",
    }
    /// How somebody showed who they are.
    SignInBy {
        Badge = "badge",
        Password = "password",
        Token = "token",
    }
}
