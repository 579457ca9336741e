//! A form with one file.

use axum::extract::multipart::Field;
use axum::extract::{DefaultBodyLimit, FromRequest, Multipart, Request};

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use super::error::{PageError, PageResult};
use super::fields::{Fields, MOST_BYTES, broken_off, few_enough};
use crate::language::{Message, message};
use crate::text::Fault;

/// Most bytes of a file.
pub const MOST_FILE_BYTES: usize = 10 * 1024 * 1024;
/// Most files of one form.
const MOST_FILES: usize = 40;
/// Bytes read past a limit and thrown away, so that the browser hears the answer instead of a broken connection.
const MOST_DRAINED: usize = 64 * 1024 * 1024;

/// A posted form with at most one file, which carried its session's token.
#[derive(Clone, Debug)]
pub struct Upload {
    pub fields: Fields,
    /// The file; none if no file was chosen.
    pub file: Option<UploadedFile>,
}

/// A posted form with any number of files, which carried its session's token.
#[derive(Clone, Debug)]
pub struct Uploads {
    pub fields: Fields,
    /// The files, in order.
    pub files: Vec<UploadedFile>,
}

/// A file as it was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UploadedFile {
    /// Name of the field.
    pub field: String,
    /// What the browser calls it; never a path of ours.
    pub name: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

impl UploadedFile {
    /// A file that travels in the fields of a form, from one page to the next.
    pub fn packed(fields: &Fields, field: &str) -> PageResult<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(fields.need("packed")?);
        let damaged = || {
            PageError::bad_request(format!(
                "The {field} in the form is damaged. Go back and send it again."
            ))
        };
        Ok(Self {
            field: field.to_owned(),
            name: fields.need("file")?.to_owned(),
            bytes: bytes.map_err(|_| damaged())?,
        })
    }
}

impl Upload {
    /// The file, if one was chosen that is not too large; otherwise the name of what came, and what is wrong with it.
    pub fn within(
        self,
        expected: &str,
        most: usize,
        advice: &str,
    ) -> Result<UploadedFile, (String, Fault)> {
        let Some(file) = self.file else {
            let what = format!("found no file, expected {expected}");
            return Err(("nothing".to_owned(), Fault::of_file("file", what)));
        };
        if file.bytes.len() <= most {
            return Ok(file);
        }
        let (found, most) = (file.bytes.len() / 1024, most / 1024);
        let what = format!("found {found} KiB, expected at most {most} KiB{advice}");
        let fault = Fault::of_file(&file.name, what);
        Err((file.name, fault))
    }
}

/// The layer that leaves limits to the extractors, which answer with pages.
pub(super) fn own_limits() -> DefaultBodyLimit {
    DefaultBodyLimit::disable()
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = PageError;

    async fn from_request(request: Request, state: &S) -> PageResult<Self> {
        let (fields, mut files) = received(request, state, 1).await?;
        Ok(Self {
            fields,
            file: files.pop(),
        })
    }
}

impl<S: Send + Sync> FromRequest<S> for Uploads {
    type Rejection = PageError;

    async fn from_request(request: Request, state: &S) -> PageResult<Self> {
        let (fields, files) = received(request, state, MOST_FILES).await?;
        Ok(Self { fields, files })
    }
}

async fn received<S: Send + Sync>(
    request: Request,
    state: &S,
    most_files: usize,
) -> PageResult<(Fields, Vec<UploadedFile>)> {
    let (parts, body) = request.into_parts();
    // with its extensions, where axum keeps the limit that is switched off
    let again = Request::from_parts(parts.clone(), body);
    let mut multipart = Multipart::from_request(again, state)
        .await
        .map_err(|_| PageError::unsupported(message!("upload.no-form")))?;
    let (mut fields, mut files, mut length) = (Vec::new(), Vec::new(), 0_usize);
    let mut in_files = 0_usize;
    let mut parts_seen = 0_usize;
    while let Some(field) = multipart.next_field().await.map_err(|_| broken_off())? {
        parts_seen = parts_seen.saturating_add(1);
        few_enough(parts_seen)?;
        let name = field.name().unwrap_or_default().to_owned();
        let Some(file_name) = field.file_name().map(str::to_owned) else {
            let bytes = read(field, MOST_BYTES).await?;
            let bytes = bytes.ok_or_else(|| too_large("upload.text-large", MOST_BYTES))?;
            length = length.saturating_add(bytes.len());
            if length > MOST_BYTES {
                return Err(too_large("upload.text-large", MOST_BYTES));
            }
            fields.push((name, text(bytes)?));
            continue;
        };
        let what = if most_files == 1 {
            "upload.file-large"
        } else {
            "upload.files-large"
        };
        let left = MOST_FILE_BYTES.saturating_sub(in_files);
        let bytes = read(field, left).await?;
        let bytes = bytes.ok_or_else(|| too_large(what, MOST_FILE_BYTES))?;
        in_files = in_files.saturating_add(bytes.len());
        if file_name.is_empty() && bytes.is_empty() {
            // a browser sends this where no file was chosen
            continue;
        }
        if files.len() >= most_files {
            return Err(PageError::bad_request(if most_files == 1 {
                message!("upload.one-file")
            } else {
                message!("upload.many-files", most = most_files)
            }));
        }
        files.push(UploadedFile {
            field: name,
            name: file_name,
            bytes,
        });
    }
    Ok((Fields::new(fields)?.checked(&parts)?, files))
}

/// The whole field; none if it is longer than that.
async fn read(mut field: Field<'_>, most: usize) -> PageResult<Option<Vec<u8>>> {
    let (mut kept, mut seen) = (Vec::new(), 0_usize);
    while let Some(chunk) = field.chunk().await.map_err(|_| broken_off())? {
        seen = seen.saturating_add(chunk.len());
        if seen <= most {
            kept.extend_from_slice(&chunk);
        } else if seen > MOST_DRAINED {
            break;
        }
    }
    Ok((seen <= most).then_some(kept))
}

fn too_large(what: &'static str, most: usize) -> PageError {
    let most = match most / (1024 * 1024) {
        0 => format!("{} KiB", most / 1024),
        mebibytes => format!("{mebibytes} MiB"),
    };
    PageError::too_large(Message::new(what).with("most", most))
}

fn text(bytes: Vec<u8>) -> PageResult<String> {
    String::from_utf8(bytes).map_err(|_| PageError::bad_request(message!("upload.not-utf8")))
}
