"""The order of the job: assess, design, takeoff. The only place that knows the order."""
