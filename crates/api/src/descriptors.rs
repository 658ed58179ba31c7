//! The descriptors of the API, decoded once.

use std::sync::LazyLock;

use prost::{Message, Name};
use prost_reflect::{DescriptorPool, DynamicMessage, MessageDescriptor};

/// A message could not be seen through its descriptor.
///
/// Neither case can come from outside: they mean that a message type is not part of the API or that the descriptors
/// and the generated types do not belong together.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReflectError {
    /// The descriptors do not hold the message.
    #[error("{0} is not a message of the API")]
    Unknown(String),
    /// The bytes of a message do not fit its descriptor.
    #[error("{name} does not fit its descriptor: {reason}")]
    Mismatch {
        /// Full name of the message.
        name: String,
        /// What the decoder says.
        reason: String,
    },
}

static POOL: LazyLock<Option<DescriptorPool>> =
    LazyLock::new(|| DescriptorPool::decode(crate::DESCRIPTORS).ok());

/// Returns the descriptor of a message by its full name.
///
/// # Errors
/// [`ReflectError::Unknown`] if it is not a message of the API.
pub(crate) fn by_name(full_name: &str) -> Result<MessageDescriptor, ReflectError> {
    let found = POOL.as_ref().and_then(|pool| pool.get_message_by_name(full_name));
    found.ok_or_else(|| ReflectError::Unknown(full_name.to_owned()))
}

/// Returns the descriptor of a message type.
pub(crate) fn of<M: Name>() -> Result<MessageDescriptor, ReflectError> {
    by_name(&M::full_name())
}

/// Sees a message through its descriptor.
pub(crate) fn to_dynamic<M: Message + Name>(message: &M) -> Result<DynamicMessage, ReflectError> {
    let mut dynamic = DynamicMessage::new(of::<M>()?);
    dynamic.transcode_from(message).map_err(|error| mismatch::<M>(&error))?;
    Ok(dynamic)
}

/// Turns a message seen through its descriptor back into its type.
pub(crate) fn from_dynamic<M: Message + Name + Default>(dynamic: &DynamicMessage) -> Result<M, ReflectError> {
    dynamic.transcode_to().map_err(|error| mismatch::<M>(&error))
}

fn mismatch<M: Name>(error: &prost::DecodeError) -> ReflectError {
    ReflectError::Mismatch { name: M::full_name(), reason: error.to_string() }
}
