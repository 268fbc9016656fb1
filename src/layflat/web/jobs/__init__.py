"""Jobs from the enquiry on: customer, vehicle, wishes, walk-round."""
