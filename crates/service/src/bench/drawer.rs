//! The drawer: shims, stacks, dampers. Nothing is kept in it yet: whatever name a calculation gives, none is found.

use wire::v1;
use wire::violation::Scope;

use super::Bench;
use crate::error::ServiceError;

impl Bench {
    /// A stack of the drawer.
    pub(super) fn stack_named(
        &self,
        name: &str,
        _at: Scope<'_>,
        _used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<v1::Stack>, ServiceError> {
        Err(ServiceError::NotFound { name: name.to_owned() })
    }

    /// A damper of the drawer.
    pub(super) fn damper_named(
        &self,
        name: &str,
        _at: Scope<'_>,
        _used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<v1::Damper>, ServiceError> {
        Err(ServiceError::NotFound { name: name.to_owned() })
    }
}
