-- What a person did last is asked most, and is to take the same time however much the person did before. Readers go on while it is made.
CREATE INDEX date_of_person ON date_row (person, parameter, finish, res, start);
