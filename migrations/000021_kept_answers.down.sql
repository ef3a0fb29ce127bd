drop table kept_answer;
