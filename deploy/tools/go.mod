module lidwright/deploy/tools

go 1.26.0
