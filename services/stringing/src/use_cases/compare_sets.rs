//! Telling what differs between two sets.

use becket_api::convert::{checked, difference_paths, difference_response, read_difference_tolerances};
use becket_api::stringing::{CompareSetsRequest, CompareSetsResponse};
use becket_design::difference;

use crate::app::App;
use crate::design::{refused, sound};
use crate::error::UseCaseError;
use crate::sources::domain_set;

impl App {
    /// Computes both sets and lists the strings that differ.
    pub(crate) async fn compare_sets(
        &self,
        request: CompareSetsRequest,
    ) -> Result<CompareSetsResponse, UseCaseError> {
        let mut faults = Vec::new();
        let tolerances = read_difference_tolerances(request.tolerances.as_ref());
        let old = self.set_source("old", request.old, &mut faults).await?;
        let new = self.set_source("new", request.new, &mut faults).await?;
        faults.extend(difference_paths(checked(tolerances.check())));
        sound(faults)?;
        let Some((old, new)) = old.zip(new) else {
            return Err(UseCaseError::Internal("a source without fault is not there".to_owned()));
        };
        self.designed(move |_| {
            let table = difference(&domain_set(&old)?, &domain_set(&new)?, &tolerances);
            let table = table.map_err(|error| refused(error, difference_paths, |_| "new".to_owned()))?;
            Ok(difference_response(&table))
        })
        .await
    }
}
