//! The oven run as it is typed from the chart.
