//! Answers as they are sent.
//!
//! gRPC sends a message behind five bytes: whether it is compressed, and its length, big-endian ("gRPC over HTTP/2",
//! Length-Prefixed-Message). Answers that are kept are kept with them, so that sending one copies nothing.

use prost::Message;
use prost::bytes::Bytes;

use crate::error::UseCaseError;

/// Bytes before a message.
const PREFIX: usize = 5;

/// A message with what is sent before it.
pub(crate) fn framed(message: &impl Message) -> Result<Bytes, UseCaseError> {
    framed_with(message.encoded_len(), |to| message.encode_raw(to))
}

/// Bytes of a message, which `write` writes, with what is sent before them.
pub(crate) fn framed_with(length: usize, write: impl FnOnce(&mut Vec<u8>)) -> Result<Bytes, UseCaseError> {
    let stated = u32::try_from(length)
        .map_err(|_| UseCaseError::Internal(format!("an answer of {length} bytes cannot be sent")))?;
    let mut frame = Vec::with_capacity(length.saturating_add(PREFIX));
    frame.push(0);
    frame.extend(stated.to_be_bytes());
    write(&mut frame);
    Ok(frame.into())
}

/// The message of a frame.
pub(crate) fn message_of(frame: &[u8]) -> &[u8] {
    frame.get(PREFIX..).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::GetStringSetRequest;

    use super::*;

    #[test]
    fn a_frame_tells_the_length_of_its_message() {
        let message = GetStringSetRequest { serial_id: "S".repeat(300) };
        let frame = framed(&message).unwrap();
        assert_eq!(frame[..5], [0, 0, 0, 1, 47], "300 bytes of text, 3 of field and length: 303 = 256 + 47");
        assert_eq!(message_of(&frame), message.encode_to_vec());
        assert_eq!(framed(&GetStringSetRequest::default()).unwrap(), [0; 5].as_slice());
    }
}
